"""From what a person types to a value."""

from dataclasses import replace
from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from sheet_reader.study.kinds import FieldValue, Refusal
from sheet_reader.study.model import FieldSpec, Study

TODAY = date(2026, 6, 1)


def understand(
    typed: str, field: FieldSpec, study: Study, today: date
) -> FieldValue | Refusal:
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
    assert isinstance(value, FieldValue)
    assert value.doubt


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
    study = STUDY
    for field in study.fields[:3]:
        assert isinstance(understand(typed, field, study, TODAY), FieldValue | Refusal)


def _load() -> Study:
    from pathlib import Path

    from sheet_reader.study.reader import read_study

    return read_study(Path(__file__).parents[2] / "samples" / "bean_tips")


STUDY = _load()
