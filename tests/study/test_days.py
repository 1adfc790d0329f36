"""The order of day and month, years that are left out, and the day of today."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheet_reader.errors import StudyError
from sheet_reader.study import days
from sheet_reader.study.days import Season, order_meant, parse_date, span, turned
from sheet_reader.study.reader import parse_study, read_study
from sheet_reader.study.study import Study

SAMPLES = Path(__file__).parents[2] / "samples"
BEANS = read_study(SAMPLES / "bean_tips")
WINTER = replace(BEANS, season=Season(date(2026, 11, 1), date(2027, 2, 28)))
MONTH_FIRST = replace(BEANS, date_order=("month", "day", "year"))
YEAR_FIRST = replace(BEANS, date_order=("year", "month", "day"))


def studied(text: str, *, sample: str = "bean_tips") -> Study:
    data = (SAMPLES / sample / "study.toml").read_text(encoding="utf-8")
    return parse_study(f"{text}\n{data}".encode(), SAMPLES / sample, BEANS.sites)


@pytest.mark.parametrize("typed", ["11 10", "1110", "11.10.", "11/10"])
def test_across_new_year_only_one_year_fits(typed: str) -> None:
    autumn = replace(WINTER, season=Season(date(2026, 10, 1), date(2027, 2, 28)))
    assert parse_date(typed, autumn) == date(2026, 10, 11)
    assert parse_date("30 11", WINTER) == date(2026, 11, 30)
    assert parse_date("03 01", WINTER) == date(2027, 1, 3)


def test_the_days_of_tolerance_belong_to_the_season() -> None:
    assert WINTER.visits.tolerance_days == 2
    assert parse_date("31 10", WINTER) == date(2026, 10, 31)
    assert parse_date("2 3", WINTER) == date(2027, 3, 2)


@pytest.mark.parametrize(
    "typed", ["31 04 26", "290225", "2026-13-01", "20", "", "5/20/26", "x", "20 05 1", "２0 05 26"]
)
def test_no_date_of_the_calendar(typed: str) -> None:
    assert parse_date(typed, BEANS) is None


def test_leap_days() -> None:
    # ISO 8601 keeps the Gregorian rule: 2028 is a leap year, 2100 would not be.
    assert parse_date("29 02 28", BEANS) == date(2028, 2, 29)
    assert parse_date("2100-02-29", BEANS) is None


def test_in_a_season_of_years_the_year_must_be_typed() -> None:
    long = replace(BEANS, season=Season(date(2026, 1, 1), date(2027, 12, 31)))
    assert parse_date("20 05", long) is None
    assert parse_date("20 05 27", long) == date(2027, 5, 20)
    leap = replace(BEANS, season=Season(date(2026, 1, 1), date(2028, 12, 31)))
    assert parse_date("29 02", leap) == date(2028, 2, 29)


@pytest.mark.parametrize(
    ("study", "typed"),
    [
        (MONTH_FIRST, "05 20 26"), (MONTH_FIRST, "5/20/26"), (MONTH_FIRST, "05202026"),
        (MONTH_FIRST, "5 20"), (MONTH_FIRST, "0520"), (MONTH_FIRST, "2026-05-20"),
        (YEAR_FIRST, "26 05 20"), (YEAR_FIRST, "20260520"), (YEAR_FIRST, "05 20"),
        (YEAR_FIRST, "2026/5/20"), (BEANS, "20 05 26"), (BEANS, "2005"), (BEANS, "20.5."),
    ],
)  # fmt: skip
def test_in_the_order_of_the_study(study: Study, typed: str) -> None:
    assert parse_date(typed, study) == date(2026, 5, 20)


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)), st.sampled_from([" ", "", ".", "/", "-"]))
def test_every_date_comes_back_in_every_order(day: date, sign: str) -> None:
    for study in (BEANS, MONTH_FIRST, YEAR_FIRST):
        written = sign.join(f"{getattr(day, part) % 100:02d}" for part in study.date_order)
        assert parse_date(written, study) == day


def test_the_other_order_is_told_and_never_taken() -> None:
    assert parse_date("06 15 26", BEANS) is None
    assert order_meant("06 15 26", BEANS) == "it looks like month first: 15 June 2026?"
    assert order_meant("15 06 26", MONTH_FIRST) == "it looks like day first: 15 June 2026?"
    assert order_meant("15 13 26", BEANS) == ""
    assert order_meant("01 15 26", BEANS) == "", "outside the season in either order"


@given(st.dates())
def test_turned_twice_is_the_same(day: date) -> None:
    other = turned(day)
    assert other is None or (turned(other) == day and other != day)


def test_a_day_near_another() -> None:
    near = date(2026, 12, 30)
    assert parse_date("28", WINTER, near) == date(2026, 12, 28)
    assert parse_date("2 1", WINTER, near) == date(2027, 1, 2)
    assert parse_date("1 2", MONTH_FIRST, near) == date(2027, 1, 2)
    assert parse_date("31", WINTER, date(2026, 11, 30)) is None


def test_the_order_comes_from_paper_and_language_where_it_is_not_given() -> None:
    assert BEANS.date_order == ("day", "month", "year")
    assert read_study(SAMPLES / "rock_pools").date_order == ("month", "day", "year")
    given_order = studied('date_order = "year month day"', sample="rock_pools")
    assert given_order.date_order == ("year", "month", "day")
    spanish = studied('words = "es"', sample="rock_pools")
    assert spanish.date_order == ("day", "month", "year"), "Letter, but not in English"


def test_what_is_no_order_or_time_zone_is_told() -> None:
    for line in ('date_order = "month day yeer"', 'time_zone = "Pacific/Aukland"'):
        with pytest.raises(StudyError) as told:
            studied(line)
        [mistake] = told.value.mistakes
        assert mistake.path == line.split()[0]
        assert "did you mean “month day year”" in mistake.message or "Auckland" in mistake.message
    assert studied('time_zone = "Pacific/Auckland"').time_zone == "Pacific/Auckland"


def test_today_is_the_day_where_the_study_is(monkeypatch: pytest.MonkeyPatch) -> None:
    # New Zealand daylight time is UTC+13 (IANA time zone database): 11:30 UTC is past midnight.
    moment = datetime(2026, 12, 6, 11, 30, tzinfo=UTC)

    class Clock(datetime):
        @classmethod
        def now(cls, tz: timezone | None = None) -> datetime:  # type: ignore[override]
            return moment.astimezone(tz) if tz else moment.replace(tzinfo=None)

    monkeypatch.setattr(days, "datetime", Clock)
    assert days.today(replace(BEANS, time_zone="Pacific/Auckland")) == date(2026, 12, 7)
    assert days.today(BEANS) == days.today() == date(2026, 12, 6)
    assert days.latest(date(2026, 12, 6)) == date(2026, 12, 7)
    assert days.latest(date.max) == date.max
    assert span(BEANS).first == BEANS.season.first - timedelta(days=2)


def test_letters_updates_and_stacks_of_sheets_say_days_in_the_order_too() -> None:
    pools = read_study(SAMPLES / "rock_pools")
    assert dict(pools.letter_words)["date"] == "{month} {day}"
    assert dict(pools.update_words)["date"] == "{month} {day}, {year}"
    assert pools.words.visit == "Visit {number}: {month} {day}"
    assert dict(BEANS.letter_words)["date"] == "{day} {month}"
