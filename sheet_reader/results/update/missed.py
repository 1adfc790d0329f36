"""Whether what is missing goes with the counts: then the comparison is off, and no range tells it.

Two tests, each within strata, so that sites which miss more or have more animals don't matter: a
plot without a value, by the count of its partner on that day (a stratum is a plot of a site); and
a visit not made, by how much the other sites found that week (a stratum is a site, between its
first visit and its last). The score of each stratum has mean and variance as if the missing ones
were drawn at random from it (the stratified permutation test of Mantel 1963, J. Am. Stat. Assoc.
58:690-700; from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

_DOUBTFUL = 2.576
"""Beyond this (two-sided 1 %) the tests warn."""
_WEEK = 7


@dataclass(frozen=True, slots=True)
class Missed:
    """``plot`` and ``visit`` are the scores of both tests, standard normal where all is by chance:
    positive where more is missing with many animals, 0 where there is nothing to test.
    """

    plot: float
    visit: float

    @property
    def way(self) -> int:
        """1: more is missing where there are many animals, -1: where there are few, 0: neither."""
        worst = max(self.plot, self.visit, key=abs)
        return int(np.sign(worst)) if abs(worst) > _DOUBTFUL else 0


def missed_with_counts(good: pd.DataFrame) -> Missed:
    """Test the values that count: site, visit_date, arm, value and effort, a line each."""
    if not len(good):
        return Missed(0.0, 0.0)
    wide = good.pivot(index=["site", "visit_date"], columns="arm", values="value")
    wide = wide.reindex(columns=["treated", "control"])
    plots = (
        (np.log1p(part[other].to_numpy()), part[mine].isna().to_numpy())
        for mine, other in (("treated", "control"), ("control", "treated"))
        for _, part in wide[wide[other].notna()].groupby("site")
    )
    return Missed(_score(plots), _score(_visits(good)))


def _visits(good: pd.DataFrame) -> Iterable[tuple[NDArray[np.float64], NDArray[np.bool_]]]:
    """For each site: how much the others found in each week, and whether it has none itself."""
    week = (good["visit_date"] - good["visit_date"].min()).dt.days // _WEEK
    density = np.log1p(good["value"]) - np.log(good["effort"] / good["effort"].mean())
    table = density.groupby([good["site"], week]).mean().unstack()
    known = table.notna().to_numpy()
    values = np.where(known, table.to_numpy(), 0.0)
    others = known.sum(axis=0) - known
    mean = (values.sum(axis=0) - values) / np.maximum(others, 1)
    for row, here in enumerate(known):
        made = np.flatnonzero(here)
        between = np.arange(made[0] + 1, made[-1])
        between = between[others[row, between] > 0]
        yield mean[row, between], ~here[between]


def _score(strata: Iterable[tuple[NDArray[np.float64], NDArray[np.bool_]]]) -> float:
    total = variance = 0.0
    for x, missing in strata:
        n, k = len(x), int(missing.sum())
        if 0 < k < n:
            total += float(x[missing].sum() - k * x.mean())
            variance += k * (n - k) / (n - 1) * float(x.var())
    return total / float(np.sqrt(variance)) if variance > 1e-12 else 0.0
