"""Whether missing values go with the counts, and how far reading errors could move the figure."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from invented_season import OUTLINE, make_season

from sheet_reader.results.update.pairs import (
    Missed,
    misreading,
    missed_with_counts,
    pair_visits,
    wrong_value,
)


def season(rng: np.random.Generator, lost: str, many: bool = True) -> pd.DataFrame:
    """30 sites, 10 weeks, both plots; ``lost`` says what is missing in weeks or plots with many."""
    week = np.exp(2 * np.sin(np.linspace(0, 6, 10)))
    mean = 4 * rng.lognormal(0, 0.5, (30, 1, 1)) * week[:, None] * np.ones((30, 10, 2))
    counts = rng.poisson(mean * rng.gamma(4, 0.25, (30, 10, 1)))
    high = (counts > np.median(counts, axis=(1, 2), keepdims=True)) == many
    gone = rng.random(counts.shape) < 0.1
    if lost == "plots":
        gone |= high & (rng.random(counts.shape) < 0.4)
    if lost == "visits":
        gone |= (high.all(axis=2) & (rng.random((30, 10)) < 0.6))[..., None]
    site, day, arm = np.nonzero(~gone)
    return pd.DataFrame(
        {
            "site": site,
            "visit_date": pd.Timestamp("2026-05-01") + pd.to_timedelta(7 * day, unit="D"),
            "arm": np.array(["treated", "control"])[arm],
            "value": counts[site, day, arm].astype(float),
            "effort": 1.0,
        }
    )


def test_by_chance_the_scores_are_standard_normal() -> None:
    found = [missed_with_counts(season(np.random.default_rng(s), "")) for s in range(120)]
    for name in ("plot", "visit"):
        scores = [getattr(each, name) for each in found]
        assert np.mean(scores) == pytest.approx(0, abs=0.3)
        assert np.std(scores) == pytest.approx(1, abs=0.25)


@pytest.mark.parametrize("lost", ["plots", "visits"])
@pytest.mark.parametrize(("many", "way"), [(True, 1), (False, -1)])
def test_what_goes_with_the_counts_is_told(lost: str, many: bool, way: int) -> None:
    ways = [
        missed_with_counts(season(np.random.default_rng(s), lost, many)).way for s in range(10)
    ]
    assert ways.count(way) >= 8
    assert -way not in ways


def test_nothing_to_test_is_no_warning() -> None:
    empty = season(np.random.default_rng(1), "").iloc[:0]
    assert missed_with_counts(empty) == Missed(0.0, 0.0)
    assert missed_with_counts(empty).way == 0


def test_a_wrong_value_differs_in_one_digit_and_stays_plausible() -> None:
    rng = np.random.default_rng(1)
    for value in (0, 7, 12, 399, 400):
        for _ in range(200):
            wrong = wrong_value(value, rng, 0, 400)
            assert wrong != value
            assert 0 <= wrong <= 400
            old, new = str(value), str(wrong).zfill(len(str(value)))
            assert sum(a != b for a, b in zip(old, new, strict=True)) == 1


def test_more_errors_move_it_further_and_none_not_at_all() -> None:
    visits = pair_visits(make_season(3), OUTLINE, "blackfly").visits
    shifts = [
        misreading(visits, rate, with_effort=True, highest=400).shift for rate in (0, 0.001, 0.02)
    ]
    assert shifts[0] == 0
    assert shifts[0] < shifts[1] < shifts[2]


def test_the_visits_stay_as_they_were_and_the_seed_rules() -> None:
    visits = pair_visits(make_season(3), OUTLINE, "blackfly").visits
    before = visits.copy()
    first = misreading(visits, 0.01, with_effort=True, seed=5)
    assert visits.equals(before)
    assert misreading(visits, 0.01, with_effort=True, seed=5) == first


def test_values_that_a_person_decided_are_not_misread() -> None:
    visits = pair_visits(make_season(3), OUTLINE, "blackfly").visits
    decided = visits.assign(status_treated="confirmed", status_control="corrected")
    result = misreading(decided, 1.0, with_effort=False)
    assert (result.values, result.shift) == (0, 0)


def test_with_every_value_wrong_the_shift_is_that_of_a_redrawn_season() -> None:
    visits = pair_visits(make_season(3), OUTLINE, "blackfly").visits
    result = misreading(visits, 1.0, with_effort=False, seasons=50)
    assert result.wrong == result.values
    assert result.shift == pytest.approx(60, abs=60)
    assert result.shift > 1
