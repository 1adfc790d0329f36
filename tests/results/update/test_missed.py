"""Whether missing values go with the counts: told where they do, silent where they don't."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sheet_reader.results.update.missed import Missed, missed_with_counts


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
