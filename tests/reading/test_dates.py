"""Dates as days pass and more is known: doubts that go by themselves, and those that stay."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest
import stand_in

from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading.batch import read_batch
from sheet_reader.reasons import Code
from sheet_reader.record.history import study_edits
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.layout import layout_version
from sheet_reader.study import days
from sheet_reader.study.days import Season
from sheet_reader.study.study import Study, Visits

NOW = date.today()
WEEK = timedelta(days=7)


def around_now(study: Study) -> Study:
    """Its season is on: the record's own times are those of the clock."""
    return replace(study, season=Season(NOW - 12 * WEEK, NOW + 12 * WEEK))


def come(study: Study, name: str, day: date | str, site: str = "1004", **more: object) -> None:
    said = stand_in.says({"site": site, "date": str(day)}, **more)
    inbox = study.folder / "inbox"
    inbox.mkdir(exist_ok=True)
    (inbox / f"{name}.png").write_bytes(stand_in.photo(said))


def reader(
    picture: OpenedPicture, study: Study, book: Any, today: date, /, **given: Any
) -> list[Any]:
    found = []
    for view, page in stand_in.read_seen(picture, study, book, today, **given):
        code = replace(page.code, layout=layout_version(study))
        found.append((view, replace(page, code=code, evidence=replace(page.evidence, code=code))))
    return found


def read(study: Study, today: date) -> None:
    read_batch(study, jobs=0, reader=reader, today=today)


def placed(study: Study) -> dict[str, set[str]]:
    """By the status of their dates, the days of all visits."""
    found: dict[str, set[str]] = {}
    with Record.open(study) as record:
        for visit in record.state():
            for field in visit.fields:
                if field.reading.field == "date":
                    found.setdefault(field.status, set()).add(field.value or "")
    return found


def why(study: Study) -> set[Code]:
    with Record.open(study) as record:
        return {r.code for v in record.state() for f in v.fields if f.needs_review
                for r in f.reasons if f.reading.field == "date"}  # fmt: skip


def test_a_day_ahead_of_the_clock_is_no_doubt(study: Study) -> None:
    study = around_now(study)
    come(study, "a", NOW + timedelta(days=1))
    read(study, NOW)
    assert placed(study) == {"accepted": {str(NOW + timedelta(days=1))}}


def test_what_only_the_clock_doubted_is_lifted_by_any_read(study: Study) -> None:
    study = around_now(study)
    late = NOW + timedelta(days=13)
    come(study, "a", late)
    read(study, NOW)
    assert placed(study) == {"flagged": {str(late)}}
    assert why(study) == {Code.IN_FUTURE}
    read(study, late - timedelta(days=2))
    assert placed(study) == {"flagged": {str(late)}}, "still ahead"
    read(study, late)
    assert placed(study) == {"accepted": {str(late)}}


def test_before_the_season_too(study: Study) -> None:
    study = replace(study, season=Season(NOW + 3 * WEEK, NOW + 12 * WEEK))
    come(study, "a", NOW + 4 * WEEK)
    read(study, NOW)
    assert "flagged" in placed(study)
    read(study, NOW + 4 * WEEK)
    assert placed(study) == {"accepted": {str(NOW + 4 * WEEK)}}


def test_no_sheet_can_be_of_after_the_day_on_which_it_lay_there(study: Study) -> None:
    """The other sheet shows that the clock was right: 15 July for 15 June is not taken in July."""
    study = around_now(study)
    come(study, "a", NOW + timedelta(days=13))
    come(study, "b", NOW - timedelta(days=2), "1010")
    read(study, NOW)
    read(study, NOW + 3 * WEEK)
    assert placed(study)["flagged"] == {str(NOW + timedelta(days=13))}


def german(study: Study) -> Study:
    words = replace(study.words, day="Tag", month="Monat", year="Jahr")
    return replace(study, words=words)


def test_where_both_orders_fit_the_season_it_is_asked(study: Study) -> None:
    come(study, "a", "2026-06-05")
    read(study, date(2026, 6, 7))
    assert placed(study) == {"flagged": {"2026-06-05"}}
    assert why(study) == {Code.DAY_OR_MONTH}


def test_another_sheet_of_the_site_tells_its_order(study: Study) -> None:
    come(study, "a", "2026-06-05")
    read(study, date(2026, 6, 7))
    come(study, "b", "2026-06-19", "1010")
    read(study, date(2026, 6, 20))
    assert placed(study)["flagged"] == {"2026-06-05"}, "another site's writers say nothing"
    come(study, "c", "2026-06-19")
    read(study, date(2026, 6, 20))
    assert "flagged" not in placed(study)
    come(study, "d", "2026-08-07")
    read(study, date(2026, 8, 9))
    assert "flagged" not in placed(study)


def test_a_site_that_turns_its_dates_is_asked_even_where_nobody_should(study: Study) -> None:
    study = german(study)
    come(study, "a", "2026-15-06")  # month 15
    read(study, date(2026, 6, 17))
    assert placed(study) == {"flagged": {"2026-06-15"}}, "offered, with the hint"
    assert why(study) == {Code.NO_SUCH_DAY, Code.DAY_OR_MONTH}
    come(study, "b", "2026-06-05")
    come(study, "c", "2026-06-05", "1010")
    read(study, date(2026, 6, 17))
    with Record.open(study) as record:
        known = {(v.site, v.visit_date) for v in record.state()}
    assert ("1010", "2026-06-05") in known, "nobody turns dates there"
    assert ("1004", "2026-06-05") not in known


def test_what_cannot_be_the_other_way_round_is_not_asked(study: Study) -> None:
    for name, day in (("a", "2026-06-06"), ("b", "2026-06-13"), ("c", "2026-05-11")):
        come(study, name, day)  # the same, no month 13, outside the season
    come(study, "d", "2026-05-08", "1010")  # 5 August is to come
    come(study, "e", "2026-06-05", "1022")  # 6 May, but dates are written year first
    read(replace(study, date_order=("year", "month", "day")), date(2026, 6, 14))
    assert placed(study) == {
        "accepted": {"2026-06-06", "2026-06-13", "2026-05-11", "2026-05-08", "2026-06-05"}
    }


def test_a_visit_in_the_days_of_tolerance_is_one_of_the_season(study: Study) -> None:
    assert study.visits == Visits(7, 2, 4)
    come(study, "a", "2026-03-30")
    come(study, "b", "2026-03-29", "1010")
    read(study, date(2026, 4, 5))
    assert placed(study) == {"accepted": {"2026-03-30"}, "flagged": {"2026-03-29"}}


def test_in_the_time_zone_of_the_study(study: Study) -> None:
    assert days.of_moment("2026-12-06T11:30:00+00:00", study) == date(2026, 12, 6)
    there = replace(study, time_zone="Pacific/Auckland")
    assert days.of_moment("2026-12-06T11:30:00+00:00", there) == date(2026, 12, 7)


def notes(study: Study) -> list[str]:
    with Record.open(study) as record:
        return record.notes()


def test_dates_ahead_of_the_clock_are_told_with_what_to_do(study: Study) -> None:
    study = around_now(study)
    come(study, "a", NOW + timedelta(days=13))
    read(study, NOW)
    [note] = notes(study)
    assert note.startswith(f"1 date lies after the day of reading. Here it is {NOW}")


def test_a_record_newer_than_now_is_told(study: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    come(study, "a", "2026-06-19")
    read(study, date(2026, 6, 20))
    assert notes(study) == []

    class Behind(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:  # type: ignore[override]
            return datetime.now(tz) - timedelta(hours=2)

    monkeypatch.setattr(study_edits, "datetime", Behind)
    [note] = notes(study)
    assert note.startswith("this machine's clock is behind: it says ")
