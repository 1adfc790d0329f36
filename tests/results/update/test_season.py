"""The invented season."""

from __future__ import annotations

import pandas as pd
import pytest
from invented_season import OUTLINE, SeasonPlan, make_season, site_number

from sheet_reader.results.update.comparison import compare
from sheet_reader.results.update.frame import COLUMNS, checked
from sheet_reader.study.site_numbers import is_valid


def test_a_season_is_a_frame_of_counts() -> None:
    counts = checked(make_season(1))
    assert tuple(counts.columns) == COLUMNS
    assert counts["site"].nunique() == 30
    assert set(counts["status"]) >= {"accepted", "flagged", "empty"}
    decided = counts["status"].isin(["accepted", "confirmed", "corrected"])
    assert counts["value"].notna().equals(decided)
    assert str(counts["value"].dtype) == "Int64"
    assert str(counts["effort"].dtype) == "Float64"


def test_the_seed_rules() -> None:
    pd.testing.assert_frame_equal(make_season(1), make_season(1))
    assert not make_season(1).equals(make_season(2))


def test_site_numbers_have_their_check_digit_and_differ() -> None:
    numbers = [site_number(n) for n in range(300)]
    assert all(is_valid(number) for number in numbers)
    assert len(set(numbers)) == 300


def test_a_large_season_shows_the_planted_effect() -> None:
    counts = make_season(1, SeasonPlan(sites=400, visits=10))
    result = compare(counts, OUTLINE, reading_errors=False)
    assert result.statement.ratio == pytest.approx(0.6, rel=0.06)
