"""Wilcoxon and Hodges-Lehmann against published examples."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import wilcoxon

from sheet_reader.results.update.ranks import signed_rank, signed_rank_distribution

BEFORE = np.array([1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30])
AFTER = np.array([0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29])
MAIZE = [6, 8, 14, 16, 23, 24, 28, 29, 41, -48, 49, 56, 60, -67, 75]


def test_depression_scale() -> None:
    """Hollander & Wolfe, Nonparametric Statistical Methods: V = 40, p = 0.01953 (greater);
    Hodges-Lehmann 0.46 (0.010, 0.786)."""
    result = signed_rank(BEFORE - AFTER, alternative="greater")
    assert result.v == 40
    assert result.p == pytest.approx(0.01953, abs=5e-6)
    assert result.estimate == pytest.approx(0.46, abs=1e-9)
    assert (result.lower, result.upper) == (pytest.approx(0.010), pytest.approx(0.786))
    assert result.exact
    assert signed_rank(BEFORE - AFTER).p == pytest.approx(0.0390625)


def test_darwins_maize() -> None:
    """Darwin 1876, heights of crossed less self-fertilised maize: W = 24, p = 0.041259765625."""
    result = signed_rank(MAIZE)
    assert result.smaller == 24
    assert result.p == pytest.approx(0.041259765625)


@pytest.mark.parametrize("n", [1, 5, 6, 12])
def test_the_distribution_agrees_with_scipy(n: int) -> None:
    chances = signed_rank_distribution(n)
    assert chances.sum() == pytest.approx(1)
    for low in range(min(n, 3)):
        values = np.arange(1.0, n + 1)
        values[:low] *= -1
        v = n * (n + 1) // 2 - low * (low + 1) // 2
        expected = wilcoxon(values, alternative="greater", method="exact").pvalue
        assert chances[v:].sum() == pytest.approx(expected)


def test_five_differences_have_no_95_percent_interval_six_have() -> None:
    assert signed_rank([1.0, 2, 3, 4, 5]).lower is None
    six = signed_rank([1.0, 2, 3, 4, 5, 6])
    assert (six.lower, six.upper) == (1.0, 6.0)


def test_the_interval_covers_the_median_of_symmetric_values() -> None:
    """400 samples of 10: at its exact coverage of 95.1 %, 1 in 700 such runs has fewer than 367; at
    90 %, 6 in 7 have."""
    rng = np.random.default_rng(5)
    hits = 0
    for _ in range(400):
        result = signed_rank(rng.normal(3.0, 1.0, 10))
        assert result.lower is not None
        assert result.upper is not None
        hits += result.lower <= 3.0 <= result.upper
    assert hits >= 367


def test_zeros_and_ties_are_told() -> None:
    result = signed_rank([0.0, 1, 1, 2, -3, 4, 5])
    assert (result.zeros, result.used, result.exact) == (1, 6, False)
    assert signed_rank([0.0, 0.0]).p == 1.0
