"""What a site's earlier counts, and digits of its earlier sheets, do for the next sheet."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import decided
import numpy as np
import pytest
import stand_in
from stand_in import says
from stated_sheets import Written, certain
from stated_sheets import beans as beans

from sheet_reader.decode.hand import FormerSheet
from sheet_reader.decode.pages import FieldReading, PageEvidence, PageReading, evidence_of
from sheet_reader.decode.sheet import decode_page
from sheet_reader.decode.writer import Examples
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.rules import DecodingRules, changed_parts
from sheet_reader.reading.site_history import (
    SiteHistory,
    doubted_page,
    settled_digits,
    with_history,
)
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.reasons import in_words
from sheet_reader.record.history.answers import LeftEmpty, Value
from sheet_reader.record.history.states import FieldState, PageObservation, StoredReading
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.page import SheetCode
from sheet_reader.study.study import Study
from sheet_reader.wording import words

Post = Callable[..., BatchSummary]
SEEN: list[Any] = []


def read_with_history(
    picture: OpenedPicture, study: Study, book: object, today: date, *, history: Any = None
) -> list[Any]:
    SEEN.append(history)
    return stand_in.read(picture, study, book, today)


def test_only_earlier_visits_of_the_site_count(study: Study, post: Post) -> None:
    post(says({"date": "2026-05-06", "sun.eggs": "1"}))
    post(says({"date": "2026-05-13"}, flagged={"sun.eggs": "2"}))
    post(says({"date": "2026-05-20", "sun.eggs": None}))
    post(says({"date": "2026-05-13", "site": "1010", "sun.eggs": "30"}))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, Value("5"), by="Ada")
        history = SiteHistory.of(study, record.state())
    assert history.before([("1004", "2026-05-06")]) == {}
    assert history.before([("1004", "2026-05-13")])["1004"]["sun.eggs"] == [1]
    assert history.before([("1004", "2026-06-01")])["1004"]["sun.eggs"] == [1, 5]
    assert history.before([("1004", "2026-06-01")])["1004"]["sun.snails"] == [12, 12, 12]
    assert "helpers" not in history.before([("1004", "2026-06-01")])["1004"]
    both = [("1004", "2026-06-01"), ("1004", "2026-05-10")]
    assert history.before(both)["1004"]["sun.eggs"] == [1]


def test_a_value_a_person_took_away_is_no_history(study: Study, post: Post) -> None:
    post(says({"date": "2026-05-06"}, flagged={"sun.eggs": "7"}))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, LeftEmpty(), by="Ada")
        history = SiteHistory.of(study, record.state())
    assert "sun.eggs" not in history.before([("1004", "2026-06-01")])["1004"]


def put(study: Study, name: str, said: Any, seed: int) -> None:
    (study.folder / "inbox" / name).write_bytes(stand_in.photo(said, seed=seed))


def test_a_sheet_is_read_with_what_came_before_it(study: Study, post: Post) -> None:
    SEEN.clear()
    post(says({"date": "2026-05-06", "sun.eggs": "0"}))
    for number in (1, 2):
        put(study, f"p{number}.png", says({"date": "2026-05-13", "sun.eggs": "4"}), number)
    read_batch(study, reader=read_with_history, jobs=0)
    told = [h["1004"]["sun.eggs"] if h else None for h in SEEN]
    assert told == [None, [0], None, [0]], "the second photo of a sheet saw the first"


def test_how_many_jobs_there_are_decides_nothing(study: Study, post: Post, tmp_path: Path) -> None:
    """One site's sheets of four days in one batch, in the order of the days and against it. Each
    would be doubted if one of the others counted as earlier; those of the other site are.
    """
    post(says({"site": "1010", "date": "2026-05-01"}))
    days = ("2026-06-03", "2026-05-20", "2026-05-27", "2026-06-10")
    for number, day in enumerate(days, start=1):
        for site in ("1004", "1010"):
            said = says({"site": site, "date": day}, doubted=["sun.eggs"])
            put(study, f"{site}-{number}.png", said, 10 * number + (site == "1010"))
    found = []
    for jobs in (0, 1, 3):
        there = replace(study, folder=tmp_path / f"jobs{jobs}")
        shutil.copytree(study.folder, there.folder)
        read_batch(there, reader=stand_in.read, jobs=jobs)
        with Record.open(there) as record:
            rows = record.readings()
        found.append(sorted((r.site, r.visit_date, r.field, r.status, r.value) for r in rows))
    assert found[0] == found[1] == found[2]
    flagged = {(site, day) for site, day, _, status, _ in found[0] if status == "flagged"}
    assert flagged == {("1010", day) for day in days}


def field(status: str, value: str | None, reason: str = "") -> FieldReading:
    return FieldReading("sun.eggs", value, 0.9, status, in_words(reason))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (("accepted", "7"), ("accepted", "7"), ("accepted", "7", "")),
        (
            ("accepted", "7"),
            ("flagged", "1", "the box could be 1 or 7"),
            (
                "flagged",
                "1",
                "the site's earlier counts speak against 7: the box could be 1 or 7",
            ),
        ),
        (
            ("accepted", "7"),
            ("accepted", "1"),
            ("flagged", "1", "the site's earlier counts speak against 7"),
        ),
        (("flagged", "7", "why"), ("accepted", "7"), ("flagged", "7", "why")),
        (("flagged", "7", "why"), ("accepted", "1"), ("flagged", "7", "why")),
        (("empty", None), ("flagged", "1"), ("empty", None, "")),
    ],
)
def test_earlier_counts_raise_doubts_and_lay_none(
    first: tuple[str, ...], second: tuple[str, ...], expected: tuple[str, ...]
) -> None:
    code = SheetCode("ponds", "v1", "BLANK", 1)
    one, other = (PageReading(code, (field(*f),), None, None) for f in (first, second))
    (f,) = doubted_page(one, other).fields
    assert (f.status, f.value, words(f.reasons)) == expected


TODAY = date(2026, 8, 30)
ROOFED = {"1": 0.6, "7": 0.3999}
"""A 1 that looks much like a 7."""
STATES: dict[str, Any] = {
    "site": "2043", "visit_date": "200526", "helpers": "_3",
    "a.plants": ["2", ROOFED], "a.eggs": "52", "a.small": "46",
}  # fmt: skip
ORDER = list(range(10))


def page(study: Study, **states: Any) -> PageEvidence:
    filled = Written(study, STATES | states)
    return evidence_of(filled.view(), certain(filled.flat()), TODAY)


def read(study: Study, evidence: PageEvidence, history: SiteHistory) -> PageReading:
    return with_history(evidence, study, history, threshold=None)


@pytest.fixture
def history(beans: Study) -> SiteHistory:
    """A site whose 1s have roofs, by two sheets of one day."""
    row = certain(["0", ROOFED, *"23456789"]).probabilities
    kept = FormerSheet("2026-05-10", Examples.of(np.vstack([row, row]), ORDER * 2))
    return SiteHistory(beans, {"2043": [kept, kept]})


def plants(reading: PageReading) -> tuple[str | None, float]:
    field = next(f for f in reading.fields if f.field == "a.plants")
    return field.value, field.confidence


def test_a_known_hand_settles_its_own_one(beans: Study, history: SiteHistory) -> None:
    first = decode_page(page(beans), beans)
    found = read(beans, page(beans), history)
    assert plants(found)[0] == "21"
    assert 1 - plants(found)[1] < 0.3 * (1 - plants(first)[1])
    assert (found.site, found.visit_date) == (first.site, first.visit_date)


@pytest.mark.parametrize("states", [{"site": "1181"}, {"visit_date": "100526"}])
def test_another_site_and_days_before_know_nothing(
    beans: Study, history: SiteHistory, states: dict[str, str]
) -> None:
    """A sheet of the same day, as a second photo of it or one read anew, is no memory either."""
    first = decode_page(page(beans, **states), beans)
    assert first.site in ("2043", "1181")
    assert first.visit_date
    assert read(beans, page(beans, **states), history) == first


def test_a_page_is_decoded_anew_when_what_is_known_of_the_hand_changes(
    beans: Study, history: SiteHistory
) -> None:
    first = decode_page(page(beans), beans)
    without, with_hands = DecodingRules(beans, SiteHistory(beans)), DecodingRules(beans, history)
    assert changed_parts(without.name_for(first), with_hands.name_for(first)) == {"history"}
    early = decode_page(page(beans, visit_date="050526"), beans)
    assert without.name_for(early) == with_hands.name_for(early)


def state(name: str, value: str | None, status: Any, confidence: float) -> FieldState:
    seen = PageObservation(
        1, 1, "p", 0, "v1", "-", 1, "2043", "2026-05-20", 8.0, 0.1, 0, "", "model"
    )
    read_as = "empty" if status == "empty" else "accepted"
    read = StoredReading(
        field=name, value=value, confidence=confidence, status=read_as, reading_id=1,
        page_instance_id=1,
    )  # fmt: skip
    return FieldState(seen, read, None, value, status, ())


def test_what_a_person_said_and_what_is_surest_is_settled(beans: Study) -> None:
    fields = [
        state("site", "2043", "accepted", 0.99999),
        state("visit_date", "2026-05-20", "confirmed", 0.5),
        state("a.plants", "21", "corrected", 0.0),
        state("a.eggs", "52", "accepted", 0.998),
        state("a.small", "46", "flagged", 0.9999),
        state("a.large", None, "empty", 1.0),
        state("gone.count", "3", "confirmed", 1.0),
    ]
    assert settled_digits(beans, fields) == {
        ("site", ""): "2043",
        ("visit_date", "day"): "20",
        ("visit_date", "month"): "05",
        ("visit_date", "year"): "26",
        ("a.plants", ""): "21",
    }
    doubted = replace(fields[2], status="unreadable", value=None)
    assert ("a.plants", "") not in settled_digits(beans, [doubted])
