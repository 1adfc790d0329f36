"""The model of the comparison, held against others' and against what must be so."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import t as student

from sheet_reader.results.update.statement import state
from sheet_reader.results.update.typical_site import SiteCounts, peak, site_counts


def drawn(seed: int, sites: int, mean: float, spread: float = 0.6) -> SiteCounts:
    rng = np.random.default_rng(seed)
    total = rng.poisson(mean * rng.gamma(1, 1, sites)) + 1
    offset = rng.normal(0, 0.3, sites)
    share = expit(offset - 0.5 + rng.normal(0, spread, sites))
    return SiteCounts(rng.binomial(total, share).astype(float), total.astype(float), offset)


def counts(sites: SiteCounts) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return sites.treated[None], sites.total[None], sites.offset[None]


@pytest.mark.parametrize(("sites", "mean"), [(12, 5.0), (30, 60.0)])
def test_the_peak_is_that_of_scipys_integration_and_search(sites: int, mean: float) -> None:
    season = drawn(1, sites, mean)

    def against(at: np.ndarray) -> float:
        total = 0.0
        for y, n, o in zip(season.treated, season.total, season.offset, strict=True):

            def part(z: float, y: float = y, n: float = n, o: float = o) -> float:
                """Binomial and normal density, written out: quad asks for them a million times."""
                share = 1 / (1 + math.exp(-(o + at[0] + at[1] * z)))
                chance = math.comb(int(n), int(y)) * share**y * (1 - share) ** (n - y)
                return chance * math.exp(-z * z / 2) / math.sqrt(2 * math.pi)

            total -= np.log(quad(part, -8, 8, points=np.linspace(-4, 4, 9), limit=200)[0])
        return total

    found = peak(counts(season))
    best = minimize(against, [-0.4, 0.5], method="Nelder-Mead", options={"xatol": 1e-3})
    assert found.theta[0] == pytest.approx(best.x[0], abs=0.01)
    assert found.sigma[0] == pytest.approx(abs(best.x[1]), abs=0.02)


def test_without_a_spread_it_is_statsmodels_binomial_regression() -> None:
    """Sites that are alike: the spread is 0, and theta the constant of a logistic regression."""
    total = np.array([12.0, 30.0, 8.0, 44.0, 20.0, 16.0])
    treated = np.array([4.0, 11.0, 3.0, 15.0, 7.0, 6.0])
    offset = np.array([0.1, -0.1, 0.0, 0.05, 0.2, -0.1])
    found = peak(counts(SiteCounts(treated, total, offset)))
    fit = sm.GLM(
        np.column_stack([treated, total - treated]),
        np.ones((6, 1)),
        family=sm.families.Binomial(),
        offset=offset,
    ).fit()
    assert found.sigma[0] == pytest.approx(0, abs=0.05)
    assert found.theta[0] == pytest.approx(fit.params[0], abs=2e-3)


def test_with_many_animals_the_plain_range_is_students() -> None:
    """2 % wider than Student's interval of the sites' log ratios, when these are known."""
    rng = np.random.default_rng(4)
    total = np.full(12, 4e6)
    treated = np.round(total * expit(rng.normal(-0.4, 0.5, 12)))
    said = state(SiteCounts(treated, total, np.zeros(12)), 5)
    logs = np.log(treated / (total - treated))
    low, high = student.interval(0.95, 11, logs.mean(), logs.std(ddof=1) / np.sqrt(12))
    assert said.plain
    assert np.log(said.ratio) == pytest.approx(logs.mean(), abs=1e-3)
    width = np.log(said.plain.upper / said.plain.lower)
    assert width == pytest.approx(1.02 * (high - low), rel=2e-3)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), sites=st.integers(6, 14), mean=st.sampled_from([1.0, 8.0]))
def test_plots_swapped_turn_everything_round(seed: int, sites: int, mean: float) -> None:
    season = drawn(seed, sites, mean)
    turned = SiteCounts(season.total - season.treated, season.total, -season.offset)
    one, other = (peak(counts(each)) for each in (season, turned))
    assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=0.01)
    assert one.sigma == pytest.approx(other.sigma, abs=0.05)
    assert one.theta == pytest.approx(-other.theta, abs=0.05)


def test_visits_of_one_effort_are_their_sum() -> None:
    """A visit of four times the animals says what four visits say."""
    site = np.repeat(np.arange(3), 4)
    four = site_counts(site, np.full(12, 2.0), np.full(12, 3.0), np.repeat([1.0, 2.0, 0.5], 4))
    one = site_counts(np.arange(3), np.full(3, 8.0), np.full(3, 12.0), np.array([1.0, 2.0, 0.5]))
    for name in ("treated", "total", "offset"):
        assert getattr(four, name) == pytest.approx(getattr(one, name))


def test_a_far_start_finds_the_same_peak() -> None:
    """This season once stayed where it began: its step was cut in one part only."""
    treated = [10, 5, 20, 170, 373, 36, 31, 18, 29, 273, 17, 67]
    total = [47, 9, 31, 428, 699, 115, 54, 34, 89, 394, 25, 111]
    season = SiteCounts(np.array(treated, float), np.array(total, float), np.full(12, 0.7))
    found = [
        peak(counts(season), None, (np.array([theta]), np.array([sigma])))
        for theta, sigma in ((0.0, 0.4), (0.0, 0.1), (2.0, 2.0), (-3.0, 1.0))
    ]
    assert [f.theta[0] for f in found] == pytest.approx([-0.702] * 4, abs=0.01)


def test_all_finds_in_one_plot_have_an_end_on_one_side_only() -> None:
    none, three = np.zeros(8), np.full(8, 3.0)
    said = state(SiteCounts(none, three, none), 5)
    assert (said.verdict, said.ratio) == ("fewer", 0.0)
    assert said.widened
    assert said.widened.lower == 0.0
    assert 0 < said.widened.upper < 1
    assert state(SiteCounts(three, three, none), 5).ratio == np.inf


def test_six_animals_all_in_one_plot_are_too_few_to_say_anything() -> None:
    """By fair coins 1 season in 32 is so, more than one look of five may err."""
    said = state(SiteCounts(np.zeros(6), np.ones(6), np.zeros(6)), 5)
    assert said.verdict == "too few animals"
    assert not said.says


def test_the_same_counts_give_the_same_statement() -> None:
    season = drawn(3, 10, 4.0)
    assert state(season, 5) == state(season, 5)
