"""Shares wrong: exact bounds, errors that cluster by person (the tail against the distribution
itself, and the promise's level by simulation), and audits looked at every week."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from thorough import only

from sheet_reader.decode.error_share import (
    ObservedError,
    at_most,
    at_most_clustered,
    checks_needed,
    clopper_pearson,
    drift,
    evidence_against,
    evidence_for,
    fields_needed,
    percent,
    upper_bound,
    upper_bound_clustered,
)


def test_nist_example():
    # NIST/SEMATECH e-Handbook of Statistical Methods 7.2.4.1: 4 of 20, 90 %
    assert clopper_pearson(4, 20, 0.90) == pytest.approx((0.07135, 0.40103), abs=5e-6)


@given(st.integers(1, 3000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_against_scipy(case):
    wrong, checked = case
    expected = stats.binomtest(wrong, checked).proportion_ci(0.95, "exact")
    assert clopper_pearson(wrong, checked) == pytest.approx(tuple(expected), abs=1e-9)
    assert at_most(wrong, checked, 0.01) == pytest.approx(stats.binom.cdf(wrong, checked, 0.01))


@pytest.mark.parametrize(
    ("share", "needed"), [(0.01, 299), (0.005, 598), (0.002, 1497), (0.001, 2995)]
)
def test_zero_errors_needed(share, needed):
    # exact binomial, one-sided 95 % (references.md)
    assert checks_needed(share) == needed
    assert upper_bound(0, needed) <= share < upper_bound(0, needed - 1)


@given(st.integers(0, 40), st.sampled_from([0.001, 0.01, 0.1]))
def test_checks_needed_is_the_smallest(wrong, share):
    needed = checks_needed(share, 0.05, wrong)
    assert at_most(wrong, needed, share) <= 0.05 < at_most(wrong, needed - 1, share)


def test_sentences():
    assert ObservedError(0, 315).sentence == "0 of 315 wrong: at most 0.95 % with 95 % confidence"
    assert ObservedError(0, 0).sentence == "nothing checked yet"
    assert ObservedError(2, 2).upper == 1.0
    assert ObservedError(4, 20, 0.9).interval == pytest.approx((0.07135, 0.40103), abs=5e-6)


@pytest.mark.parametrize(
    ("share", "text"), [(0.0, "0 %"), (0.00094652, "0.095 %"), (0.0123, "1.3 %"), (0.5, "50 %")]
)
def test_percentages_are_never_rounded_down(share, text):
    assert percent(share) == text


@pytest.mark.parametrize("shape", [0.1, 0.5, 2.0])
def test_equal_people_are_one_negative_binomial(shape):
    # c negative binomials of shape s and equal means are one of shape c * s (scipy.stats.nbinom)
    mean = 200 * 0.001
    for wrong in (0, 3, 16, 40):
        expected = stats.nbinom.cdf(wrong, 150 * shape, shape / (shape + mean))
        assert at_most_clustered(wrong, [200] * 150, 0.001, shape) == pytest.approx(expected)


def test_unequal_people_by_adding_their_distributions():
    sizes, shape, share = [10, 400, 35], 0.3, 0.02
    chances = np.array([1.0])
    for n in sizes:
        mean = n * share
        own = stats.nbinom.pmf(np.arange(400), shape, shape / (shape + mean))
        chances = np.convolve(chances, own)
    for wrong in (0, 2, 9):
        found = at_most_clustered(wrong, sizes, share, shape)
        assert found == pytest.approx(chances[: wrong + 1].sum(), rel=1e-9)


def test_people_all_alike_are_the_binomial():
    found = at_most_clustered(2, np.ones(5000), 0.001, shape=1e6)
    assert found == pytest.approx(at_most(2, 5000, 0.001), rel=0.01)
    assert fields_needed(0, [1], 0.001, shape=1e7) == pytest.approx(checks_needed(0.001), rel=0.002)


def test_the_bound_is_where_the_tail_is_delta():
    sizes = np.repeat([150, 220], 76)
    bound = upper_bound_clustered(9, sizes)
    assert at_most_clustered(9, sizes, bound) == pytest.approx(0.05, rel=0.01)
    assert upper_bound_clustered(0, []) == 1.0
    assert upper_bound_clustered(5, [5]) == 1.0


def rates(rng, mixing, shape, people, share):
    if mixing == "gamma":
        return np.minimum(rng.gamma(shape, share / shape, people), 1.0)
    return rng.beta(shape, shape * (1.0 - share) / share, people)


@pytest.mark.parametrize("mixing", ["gamma", "beta"])
@pytest.mark.parametrize("shape", [0.1, 0.3, 1.0])
def test_a_population_at_the_limit_is_promised_in_few_repeats(mixing, shape):
    """2,000 repeats of 150 people with about 200 fields each, errors exactly at 0.1 %."""
    rng = np.random.default_rng(int(shape * 10))
    people, repeats, share = 150, 2000, 0.001
    sizes = rng.integers(150, 250, people)
    errors = np.array(
        [
            rng.binomial(sizes, rates(rng, mixing, shape, people, share)).sum()
            for _ in range(repeats)
        ]
    )
    given = np.array([at_most_clustered(k, sizes, share) <= 0.05 for k in range(errors.max() + 1)])
    assert given[errors].mean() <= 0.07
    # the binomial over fields, where people are forgotten, gives it far too often
    naive = np.array([at_most(k, sizes.sum(), share) <= 0.05 for k in range(errors.max() + 1)])
    if shape == 0.1:
        assert naive[errors].mean() > 0.15


def test_a_population_well_below_the_limit_is_promised_mostly():
    rng = np.random.default_rng(4)
    sizes = np.full(150, 220)
    errors = rng.binomial(sizes, rates(rng, "gamma", 0.3, (1000, 150), 0.0003)).sum(1)
    given = np.array([at_most_clustered(k, sizes, 0.001) <= 0.05 for k in range(errors.max() + 1)])
    assert given[errors].mean() > 0.7


def season(rng, share, shape, sites=60, weeks=20, each=3):
    """Counts of wrong and checked fields by week and site, added up; each site has its own rate."""
    rate = rng.beta(shape, shape * (1.0 - share) / share, sites)
    wrong = rng.binomial(each, rate, (weeks, sites)).cumsum(0)
    checked = np.full((weeks, sites), each).cumsum(0)
    return wrong, checked


@pytest.mark.parametrize("shape", [0.1, only(1.0), only(100.0)])
def test_twenty_weekly_looks_raise_a_false_alarm_in_few_seasons(shape):
    rng = np.random.default_rng(1)
    alarms = confirmed = 0
    for _ in range(200):
        wrong, checked = season(rng, 0.002, shape)
        looks = list(zip(wrong, checked, strict=True))
        alarms += any(evidence_against(k, n, 0.002) >= 20 for k, n in looks)
        confirmed += any(evidence_for(k, n, 0.002) >= 20 for k, n in looks)
    assert alarms <= 0.07 * 200
    assert confirmed <= 0.07 * 200


def test_a_reader_ten_times_as_bad_is_noticed_and_a_good_one_borne_out():
    rng = np.random.default_rng(2)
    noticed = borne_out = 0
    for _ in range(40):
        wrong, checked = season(rng, 0.02, 1.0)
        noticed += any(
            evidence_against(k, n, 0.002) >= 20 for k, n in zip(wrong, checked, strict=True)
        )
        wrong, checked = season(rng, 0.00002, 1.0, sites=150, each=10)
        borne_out += any(
            evidence_for(k, n, 0.002) >= 20 for k, n in zip(wrong, checked, strict=True)
        )
    assert noticed >= 36
    assert borne_out >= 36


def test_one_wrong_of_forty_is_no_alarm_and_twelve_of_four_hundred_are_one():
    assert evidence_against([1, 0], [20, 20], 0.001) < 20
    assert evidence_against([3, *[0] * 49], np.full(50, 20), 0.001) < 20  # 3 of 1,000
    assert evidence_against([1] * 12, np.full(12, 33), 0.001) > 20


def test_a_drift_shows_after_it_began_and_not_before():
    clean = (np.zeros(40, int), np.full(40, 10))
    worse = (np.r_[np.ones(6, int), np.zeros(34, int)], np.full(40, 10))
    seen = drift([clean] * 4 + [worse] * 3, 0.001)
    assert (seen[:4] < 20).all()
    assert seen[-1] > 20


def test_without_a_month_there_is_no_drift():
    assert drift([], 0.001).shape == (0,)
