"""Kinds of field: what a person types becomes a value, where boxes stand, and what they may say."""

import pickle
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheet_reader.study.kinds import (
    COUNT,
    DATE,
    NUMBER,
    SITE,
    FieldValue,
    Kind,
    Listed,
    Range,
    Refusal,
)
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import FieldSpec, Site, Study
from sheet_reader.wording import words

TODAY = date(2026, 6, 1)
STUDY = read_study(Path(__file__).parents[2] / "samples" / "bean_tips")


@pytest.fixture
def bean_study() -> Study:
    return STUDY


def understand(typed: str, field: FieldSpec, study: Study, today: date) -> FieldValue | Refusal:
    return field.kind.check(study, field, typed, today=today)


def spec(study: Study, name: str) -> FieldSpec:
    return next(s for s in study.fields if s.name == name)


def test_dates_outside_the_season_or_in_the_future_are_doubtful(bean_study: Study) -> None:
    field = spec(bean_study, "visit_date")
    outside = understand("01 01 26", field, bean_study, TODAY)
    future = understand("20 07 26", field, bean_study, TODAY)
    usual = understand("20 05 26", field, bean_study, TODAY)
    assert isinstance(outside, FieldValue)
    assert "outside the season" in outside.doubt
    assert isinstance(future, FieldValue)
    assert "future" in future.doubt
    assert usual == FieldValue("2026-05-20")


def test_the_day_after_today_may_be_today_where_it_was_counted(bean_study: Study) -> None:
    field = spec(bean_study, "visit_date")
    assert understand("02 06 26", field, bean_study, TODAY) == FieldValue("2026-06-02")
    assert understand("03 06 26", field, bean_study, TODAY) == FieldValue(
        "2026-06-03", "3 June 2026 lies in the future"
    )


def test_a_refusal_says_the_order_or_that_it_looks_turned(bean_study: Study) -> None:
    field = spec(bean_study, "visit_date")
    turned = understand("06 15 26", field, bean_study, TODAY)
    assert isinstance(turned, Refusal)
    assert turned.message == "no such date; it looks like month first: 15 June 2026?"
    month_first = replace(bean_study, date_order=("month", "day", "year"))
    wrong = understand("13 13 26", field, month_first, TODAY)
    assert isinstance(wrong, Refusal)
    assert wrong.message == "no such date; type month day year, e.g. 06 25 26"
    outside = understand("06 01 26", field, bean_study, TODAY)  # 6 January, or June 1
    assert isinstance(outside, FieldValue)
    assert outside.doubt.endswith("; it looks like month first: 1 June 2026?")


def test_numbers_lose_leading_zeros_and_keep_zero(bean_study: Study) -> None:
    field = spec(bean_study, "pinched.blackfly")
    assert understand("007", field, bean_study, TODAY) == FieldValue("7")
    assert understand("000", field, bean_study, TODAY) == FieldValue("0")


def test_more_digits_than_boxes_are_doubtful(bean_study: Study) -> None:
    field = spec(bean_study, "pinched.egg_clusters")
    value = understand("123", field, bean_study, TODAY)
    assert value == FieldValue("123", "123 is more than the highest plausible value 60")
    free = understand("123", replace(field, highest=None), bean_study, TODAY)
    assert free == FieldValue("123", "123 is longer than the 2 boxes of this field")
    refused = understand("1" * 10, field, bean_study, TODAY)
    assert refused == Refusal("a number has at most 9 digits, this has 10")


def test_every_site_of_the_list_is_taken_and_its_neighbours_named(bean_study: Study) -> None:
    field = spec(bean_study, "site")
    for site in bean_study.sites:
        assert understand(site.number, field, bean_study, TODAY) == FieldValue(site.number)
    number = bean_study.sites[0].number
    swapped = number[1] + number[0] + number[2:]
    refusal = understand(swapped, field, bean_study, TODAY)
    assert isinstance(refusal, Refusal)
    assert number in [site.number for site in refusal.near]


@given(st.text(max_size=30))
def test_no_text_raises(typed: str) -> None:
    for field in STUDY.fields[:3]:
        assert isinstance(understand(typed, field, STUDY, TODAY), FieldValue | Refusal)


def test_a_site_is_known_without_its_zeros_and_a_wrong_check_digit_is_told() -> None:
    sites = (Site("0174", "Mill", ""), Site("2043", "Kiln", ""))
    study = replace(STUDY, sites=sites)
    field = spec(study, "site")
    assert understand(" 174 ", field, study, TODAY) == FieldValue("0174")
    both = replace(study, sites=(*sites, Site("00174", "Weir", "")))
    assert understand("00174", field, both, TODAY) == FieldValue("00174")
    assert isinstance(understand("174", field, both, TODAY), Refusal), "either may be meant"
    wrong, gone = (understand(text, field, study, TODAY) for text in ("2044", "5724"))
    assert isinstance(wrong, Refusal)
    assert isinstance(gone, Refusal)
    assert "; its check digit is wrong;" in wrong.message
    assert gone.message.endswith("on the site list; if it has left it, put its line back first")


def test_what_lies_outside_the_range_is_doubted_in_the_words_of_the_reading() -> None:
    value = understand("977", spec(STUDY, "pinched.blackfly"), STUDY, TODAY)
    assert value == FieldValue("977", "977 is more than the highest plausible value 400")


def test_two_fields_place_a_sheet() -> None:
    assert STUDY.keys == ("site", "visit_date")
    assert [s.name for s in STUDY.fields if s.kind.is_key] == list(STUDY.keys)
    assert STUDY.placed("0174", "2026-05-20") == {"site": "0174", "visit_date": "2026-05-20"}
    assert (STUDY.site_field.kind, STUDY.date_field.kind) == (SITE, DATE)


def test_how_boxes_stand_together() -> None:
    assert [COUNT.groups(boxes) for boxes in (1, 4)] == [(("", 1),), (("", 4),)]
    assert COUNT.groups(5) == (("", 2), ("", 3))
    assert NUMBER.groups(6) == (("", 3), ("", 3))
    assert DATE.groups(6, ("month", "day", "year")) == (("month", 2), ("day", 2), ("year", 2))
    assert DATE.parts("2026-05-20") == {"year": "26", "month": "05", "day": "20"}
    assert SITE.parts("0174") == {"": "0174"}


def test_the_date_is_captioned_in_the_order_of_the_study() -> None:
    assert DATE.captions(replace(STUDY, date_order=("year", "month", "day"))) == (
        "year (26)", "month", "day",
    )  # fmt: skip
    assert SITE.captions(STUDY) == COUNT.captions(STUDY) == ()


def test_what_digits_may_spell_is_asked_about_otherwise() -> None:
    few = Listed(("09", "18"))
    assert (few.text(9), few.text(18), few.text(7)) == ("09", "18", "7")
    assert few.against(9) is None
    assert words([few.against(7)]) == "7 is none of the values expected here"  # type: ignore[list-item]
    some = Range(2, None)
    assert some.against(10**6) is None
    assert words([some.against(1)]) == "1 is less than the lowest plausible value 2"  # type: ignore[list-item]


@pytest.mark.parametrize("kind", [SITE, DATE, NUMBER, COUNT], ids=lambda kind: kind.name)
def test_a_kind_stays_itself_on_its_way_to_another_process(kind: Kind) -> None:
    again = pickle.loads(pickle.dumps(kind))
    assert again == kind
    assert {again: 1} == {kind: 1}
    assert len({SITE, DATE, NUMBER, COUNT}) == 4
