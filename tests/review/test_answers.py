"""From what a person types to a value."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheet_reader.review.answers import Refusal, Value, parse_date, understand
from sheet_reader.study.model import FieldSpec, Study

TODAY = date(2026, 6, 1)


def spec(study: Study, name: str) -> FieldSpec:
    return next(s for s in study.fields if s.name == name)


@pytest.mark.parametrize(
    "typed",
    ["20 05 26", "200526", "20.05.26", "20/5/26", "20-05-2026", "20052026", "2026-05-20"],
)
def test_a_date_as_on_the_sheet_or_iso_8601(typed: str) -> None:
    assert parse_date(typed) == date(2026, 5, 20)


@pytest.mark.parametrize("typed", ["31 04 26", "290225", "2026-13-01", "20", "", "5/20/26", "x"])
def test_no_date_of_the_calendar(typed: str) -> None:
    assert parse_date(typed) is None


def test_leap_days() -> None:
    # ISO 8601 keeps the Gregorian rule: 2028 is a leap year, 2100 would not be.
    assert parse_date("29 02 28") == date(2028, 2, 29)
    assert parse_date("2100-02-29") is None


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)))
def test_every_date_of_the_century_comes_back(day: date) -> None:
    assert parse_date(day.strftime("%d %m %y")) == day
    assert parse_date(day.isoformat()) == day


def test_dates_outside_the_season_or_in_the_future_are_doubtful(bean_study: Study) -> None:
    field = spec(bean_study, "visit_date")
    outside = understand("01 01 26", field, bean_study, TODAY)
    future = understand("20 07 26", field, bean_study, TODAY)
    usual = understand("20 05 26", field, bean_study, TODAY)
    assert isinstance(outside, Value)
    assert "outside the season" in outside.doubt
    assert isinstance(future, Value)
    assert "future" in future.doubt
    assert usual == Value("2026-05-20")


def test_numbers_lose_leading_zeros_and_keep_zero(bean_study: Study) -> None:
    field = spec(bean_study, "pinched.blackfly")
    assert understand("007", field, bean_study, TODAY) == Value("7")
    assert understand("000", field, bean_study, TODAY) == Value("0")


def test_more_digits_than_boxes_are_doubtful(bean_study: Study) -> None:
    field = spec(bean_study, "pinched.egg_clusters")
    value = understand("123", field, bean_study, TODAY)
    assert isinstance(value, Value)
    assert value.doubt


def test_every_site_of_the_list_is_taken_and_its_neighbours_named(bean_study: Study) -> None:
    field = spec(bean_study, "site")
    for site in bean_study.sites:
        assert understand(site.number, field, bean_study, TODAY) == Value(site.number)
    number = bean_study.sites[0].number
    swapped = number[1] + number[0] + number[2:]
    refusal = understand(swapped, field, bean_study, TODAY)
    assert isinstance(refusal, Refusal)
    assert number in [site.number for site in refusal.near]


@given(st.text(max_size=30))
def test_no_text_raises(typed: str) -> None:
    study = STUDY
    for field in study.fields[:3]:
        assert isinstance(understand(typed, field, study, TODAY), Value | Refusal)


def _load() -> Study:
    from pathlib import Path

    from sheet_reader.study.reader import read_study

    return read_study(Path(__file__).parents[2] / "samples" / "bean_tips")


STUDY = _load()
