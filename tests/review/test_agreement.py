"""Cohen's kappa held against scikit-learn and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score
from statsmodels.stats.inter_rater import cohens_kappa

from sheet_reader.review.agreement import agreement


def pairs_of(seed: int, count: int, errors: float) -> list[tuple[str, str]]:
    rng = np.random.default_rng(seed)
    truth = rng.integers(0, 12, count)
    second = np.where(rng.random(count) < errors, rng.integers(0, 12, count), truth)
    return [(str(a), str(b)) for a, b in zip(truth, second, strict=True)]


@pytest.mark.parametrize(("seed", "count", "errors"), [(1, 40, 0.1), (2, 200, 0.02), (3, 15, 0.9)])
def test_kappa_and_interval_are_those_of_the_libraries(
    seed: int, count: int, errors: float
) -> None:
    pairs = pairs_of(seed, count, errors)
    found = agreement(pairs)
    one, other = zip(*pairs, strict=True)
    names = sorted({*one, *other})
    table = np.zeros((len(names), len(names)))
    for a, b in pairs:
        table[names.index(a), names.index(b)] += 1
    theirs = cohens_kappa(table)
    assert found is not None
    assert found.kappa == pytest.approx(cohen_kappa_score(one, other), abs=1e-12)
    assert found.kappa == pytest.approx(theirs.kappa, abs=1e-12)
    assert (found.low, found.high) == pytest.approx((theirs.kappa_low, theirs.kappa_upp), abs=1e-9)
    assert found.same == sum(a == b for a, b in pairs)


def test_without_pairs_or_with_one_value_only_there_is_no_kappa() -> None:
    assert agreement([]) is None
    found = agreement([("3", "3")] * 4)
    assert found is not None
    assert found.kappa is None
    assert found.sentence == "4 asked of two people: 4 answered alike."
