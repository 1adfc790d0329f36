"""A simulated season whose truth is known: the status is right for every site and week."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta

import made_season
import pytest
from counting import calls
from made_facts import fact, facts, visit

from sheet_reader.reasons import Code, because
from sheet_reader.results.facts import Facts, PhotoFact
from sheet_reader.results.formats import FORMATS, format_named
from sheet_reader.results.frames import tables_of
from sheet_reader.results.status.report import (
    SIGNS,
    status_csv,
    status_json,
    status_lines,
    status_picture,
)
from sheet_reader.results.status.standing import STATES, Status, status_of
from sheet_reader.results.status.weeks import meant_for
from sheet_reader.study.days import expected_days
from sheet_reader.study.study import Study
from sheet_reader.wording import in_general, words

AFTER = date(2026, 6, 15)


@pytest.fixture(scope="module")
def study() -> Study:
    return made_season.a_study()


@pytest.fixture(scope="module")
def truths(study: Study) -> list[made_season.Truth]:
    return made_season.draw(study)


@pytest.fixture(scope="module")
def status(study: Study, truths: list[made_season.Truth]) -> Status:
    return status_of(study, made_season.as_facts(study, truths), AFTER, "The promise.")


def test_every_site_and_week_is_right(truths: list[made_season.Truth], status: Status) -> None:
    told = {(s.site, e.day): e.state for s in status.sites for e in s.expected}
    assert told == {(t.site, t.expected): t.state for t in truths}
    assert set(Counter(told.values())) == {"in", "waits", "incomplete", "missed"}


def test_the_days_off_are_right(truths: list[made_season.Truth], status: Status) -> None:
    told = {(s.site, e.day): e.days_off for s in status.sites for e in s.expected if e.visits}
    assert told == {(t.site, t.expected): t.off for t in truths if t.kind not in ("missed", "late")}


def test_sites_with_too_few_visits(truths: list[made_season.Truth], status: Status) -> None:
    came = Counter(t.site for t in truths if t.kind not in ("missed", "late"))
    assert {s.site for s in status.sites if s.too_few} == {
        s.site for s in status.sites if came[s.site] < 4
    }
    assert {s.site: s.came for s in status.sites} == {s.site: came[s.site] for s in status.sites}


def test_a_late_sheet_turns_missed_into_in(study: Study, truths: list[made_season.Truth]) -> None:
    late = [replace(t, kind="whole") if t.kind == "late" else t for t in truths]
    status = status_of(study, made_season.as_facts(study, late), AFTER)
    told = {(s.site, e.day): e.state for s in status.sites for e in s.expected}
    assert told == {(t.site, t.expected): t.state for t in late}


def test_during_the_season_nothing_is_missed_before_the_tolerance_is_over(study: Study) -> None:
    second = made_season.FIRST + timedelta(days=7)
    for days, state in ((0, "not due"), (2, "not due"), (3, "missed")):
        status = status_of(study, facts(), second + timedelta(days=days))
        assert status.sites[0].expected[1].state == state
    assert not any(site.too_few for site in status.sites)


@pytest.mark.parametrize(
    ("visits", "expected"),
    [
        ([0, 7, 14], {0: 0, 7: 1, 14: 2}),
        ([3, 10, 17], {3: 0, 10: 1, 17: 2}),  # always three days late
        ([3, 11], {3: 0, 11: 2}),  # next to the third
        ([4, 10], {4: 0, 10: 1}),  # both next to the second, and the first is free
        ([0, 4, 10, 14], {0: 0, 4: 1, 10: 1, 14: 2}),  # no neighbour is free
        ([7, 10], {7: 1, 10: 2}),
        ([41], {41: 5}),
    ],
)
def test_which_visit_was_meant_for_which_day(
    study: Study, visits: list[int], expected: dict[int, int]
) -> None:
    def day(number: int) -> date:
        return made_season.FIRST + timedelta(days=number)

    found = meant_for(study, expected_days(study), [day(n) for n in visits])
    assert found == {day(n): place for n, place in expected.items()}


def test_a_missing_page_is_incomplete(study: Study) -> None:
    values = {f"{p.name}.minutes": 10 for p in study.plots}
    one = visit(study.sites[0].number, "2026-04-20", values)
    (site, *_) = status_of(study, facts(one, pages_of=2), AFTER).sites
    assert site.expected[0].state == "incomplete"
    assert site.expected[0].why == ("page 2 is missing",)


def test_what_stands_nowhere_is_told(study: Study) -> None:
    site = study.sites[0].number
    found = facts(
        visit("", "2026-04-20", {"pinched.plants": "flagged"}),
        visit(site, "", {"pinched.plants": 3}),
        visit(site, "2025-04-20"),
        visit("9999", "2026-04-20"),
    )
    blurred = because(Code.BLURRED)
    photos = (
        PhotoFact(7, "photo-0007", "no sheet", (blurred.on_page(2),), ("pat@example.org",)),
        PhotoFact(8, "photo-0008", "no sheet", (blurred,)),
        PhotoFact(9, "photo-0009", "waiting", ()),
    )
    status = status_of(study, Facts(found.visits, photos), AFTER)
    assert (status.unsettled, status.sites[0].unsettled, status.unread) == (1, 1, 1)
    assert status.outside == ((site, "2025-04-20"), ("9999", "2026-04-20"))
    assert status.fruitless == {words([blurred]): ("photo-0007", "photo-0008")}
    text = "\n".join(status_lines(status))
    assert "photo-0007, photo-0008: the picture is too blurred" in text
    assert "1 whose site waits for review" in text
    for told in (text.encode(), status_csv(status), status_json(status)):
        assert b"@" not in told


def test_what_waits_is_counted_by_the_code_of_its_reason(study: Study) -> None:
    sums = [because(Code.SUM_OFF, total=t, parts=4, fields=["a", "b"]) for t in (12, 9)]
    why = [(sums[0],), (because(Code.ASKED_ANEW), sums[1]), (because(Code.GAP, value="12"),), ()]
    names = ("plants", "blackfly", "ladybirds", "egg_clusters")
    fields = {
        f"pinched.{name}": fact(f"pinched.{name}", "1", "flagged", reasons=reasons)
        for name, reasons in zip(names, why, strict=True)
    }
    status = status_of(study, facts(visit(study.sites[0].number, "2026-04-20", fields)), AFTER)
    assert status.waiting == {"sum-off": 2, "gap": 1, "uncertain": 1}
    lines = [line.strip() for line in status_lines(status)]
    assert "2  the total and its parts do not fit" in lines


@pytest.mark.parametrize("code", list(Code))
def test_every_code_can_be_told_in_general(code: Code) -> None:
    told = in_general(code)
    assert told
    assert "{" not in told


def test_lines_csv_and_json_say_the_same(status: Status) -> None:
    lines = list(status_lines(status))
    shown = {line.split()[0]: line for line in lines if line[:5].isdigit()}
    table = list(csv.DictReader(io.StringIO(status_csv(status).decode(), newline="")))
    data = json.loads(status_json(status))
    assert len(table) == made_season.SITES * made_season.WEEKS
    for site in data["sites"]:
        states = [e["state"] for e in site["expected"]]
        assert [x["state"] for x in table if x["site"] == site["site"]] == states
        assert " ".join(SIGNS[state] for state in states) in shown[site["site"]]
    assert data["states"] == dict(Counter({s: status.count(s) for s in STATES}))
    assert lines[-1] == "The promise."


@pytest.mark.parametrize(("kind", "start"), [("svg", b"<?xml"), ("png", b"\x89PNG")])
def test_the_picture_is_the_same_every_time(status: Status, kind: str, start: bytes) -> None:
    picture = status_picture(status, kind)
    assert picture.startswith(start)
    assert picture == status_picture(status, kind)
    if kind == "svg":
        text = picture.decode()
        assert all(site.site in text for site in status.sites)
        assert "missed (" in text
        assert "@" not in text.split("<metadata>")[0]


@pytest.mark.parametrize("what", ["status", "lines", *FORMATS])
def test_twice_the_sites_are_at_most_little_more_than_twice_the_work(what: str) -> None:
    """Counted in calls, not in seconds."""
    work = []
    for sites in (20, 40):
        study = made_season.a_study(sites)
        found = made_season.as_facts(study, made_season.draw(study))
        if what == "parquet":
            pytest.importorskip("pyarrow")
        if what in FORMATS:
            made, tables = format_named(what), tables_of(study, found)
            made(study, tables)
            work.append(calls(lambda m=made, s=study, t=tables: m(s, t)))  # type: ignore[misc]
        elif what == "status":
            work.append(calls(lambda s=study, f=found: status_of(s, f, AFTER)))  # type: ignore[misc]
        else:
            status = status_of(study, found, AFTER)
            work.append(calls(lambda s=status: (list(status_lines(s)), status_csv(s))))  # type: ignore[misc]
    assert work[1] <= 2.2 * work[0]
