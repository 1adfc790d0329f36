from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from thorough import examples

from sheet_reader.decode.posteriors import read_numbers
from sheet_reader.decode.site_and_date import PARTS, judge_date
from sheet_reader.reasons import Occlusion
from sheet_reader.study.days import Season
from sheet_reader.wording import words

SEASON = Season(date(2026, 4, 20), date(2026, 8, 30))
TODAY = date(2026, 12, 31)


def judge(stated, text, season=SEASON, today=TODAY, **options):
    boxes = stated(text).probabilities.reshape(3, 2, -1)
    parts = dict(zip(PARTS, read_numbers(boxes), strict=True))
    return judge_date("visit_date", parts, season, today, **options)


@settings(max_examples=examples(60), deadline=None)
@given(st.integers(0, (SEASON.last - SEASON.first).days), st.sampled_from(["02d", "2d", "<2d"]))
def test_every_day_of_the_season_however_it_is_aligned(stated, offset, form):
    day = SEASON.first + timedelta(days=offset)
    text = f"{day.day:{form}}{day.month:{form}}{day.year % 100:02d}".replace(" ", "_")
    judged = judge(stated, text)
    assert (judged.value, judged.flags) == (day.isoformat(), ())
    assert judged.confidence > 0.999


@settings(max_examples=examples(150), deadline=None)
@given(st.integers(0, 999_999))
def test_no_other_six_digits_pass_unasked(stated, number):
    text = f"{number:06d}"
    try:
        day = date(2000 + int(text[4:]), int(text[2:4]), int(text[:2]))
    except ValueError:
        day = None
    judged = judge(stated, text)
    if day is None or not SEASON.first <= day <= SEASON.last:
        assert judged.flags
    else:
        assert judged.value == day.isoformat()


@pytest.mark.parametrize(("year", "season"), [("98", 1998), ("05", 2005), ("26", 2026)])
def test_two_digits_of_the_year_mean_the_season_s_century(stated, year, season):
    around = Season(date(season, 4, 20), date(season, 8, 30))
    assert judge(stated, f"2005{year}", around).value == f"{season}-05-20"


def test_a_season_across_new_year(stated):
    season = Season(date(2025, 11, 1), date(2026, 2, 28))
    assert judge(stated, "311225", season).value == "2025-12-31"
    assert judge(stated, "010126", season).value == "2026-01-01"
    assert judge(stated, "310126", season, today=date(2026, 1, 29)).flags


def test_a_struck_box_of_a_date_is_asked_about(stated):
    judged = judge(stated, "#50526")
    assert judged.value == "2026-05-05"
    assert words(judged.flags) == "a box was struck out; 2026-05-05 read from the others"


def test_the_whole_date_hidden(stated):
    boxes = stated("200526").probabilities.reshape(3, 2, -1)
    parts = dict(zip(PARTS, read_numbers(boxes), strict=True))
    covered = (Occlusion.COVERED, Occlusion.COVERED)
    parts = {part: replace(posterior, hidden=covered) for part, posterior in parts.items()}
    judged = judge_date("visit_date", parts, SEASON, TODAY)
    assert words(judged.flags) == "hidden: covered"


def test_without_the_calendar_a_day_that_does_not_exist_is_still_asked_about(stated):
    flags = judge(stated, "310426", use_calendar=False).flags
    assert words(flags) == "31 April is no day"
    assert judge(stated, "200199", use_calendar=False).value == "1999-01-20"
