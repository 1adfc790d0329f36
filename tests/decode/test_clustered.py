"""Shares wrong where errors cluster by person: the tail against the distribution itself, and the
promise's level by simulation with gamma and beta mixing."""

import numpy as np
import pytest
from scipy import stats

from sheet_reader.decode.binomial import at_most, checks_needed
from sheet_reader.decode.clustered import (
    at_most_clustered,
    fields_needed,
    upper_bound_clustered,
)


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
