"""The signed-rank test of Wilcoxon and the estimate of Hodges and Lehmann with exact interval.

Hollander & Wolfe, *Nonparametric Statistical Methods*, chapter 3; Hodges & Lehmann 1963,
Ann. Math. Statist. 34:598-611.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import rankdata, wilcoxon

Alternative = Literal["two-sided", "greater", "less"]


@dataclass(frozen=True, slots=True)
class SignedRank:
    """``v`` is the sum of the ranks of positive differences, ``smaller`` the lesser of both sums.

    ``estimate`` is the pseudo-median (median of all means of two differences), ``lower`` and
    ``upper`` its interval of level ``level`` or a little more; both None where so few differences
    have none (under 6 for 95 %). ``used`` counts differences other than zero. ``exact`` says that
    neither zeros nor ties disturb the exact distribution.
    """

    v: float
    smaller: float
    p: float
    used: int
    zeros: int
    exact: bool
    estimate: float
    lower: float | None
    upper: float | None
    level: float


def signed_rank(
    differences: ArrayLike, alternative: Alternative = "two-sided", level: float = 0.95
) -> SignedRank:
    """Test and estimate from paired differences (at least one, all finite).

    With ties or zeros the p value is scipy's for that case, and the interval is the usual one,
    a little too wide.
    """
    every: NDArray[np.float64] = np.asarray(differences, dtype=np.float64)
    values = every[every != 0]
    ranks = rankdata(np.abs(values))
    v = float(ranks[values > 0].sum())
    total = len(values) * (len(values) + 1) / 2
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # few values: scipy warns that its approximation is rough
        p = float(wilcoxon(values, alternative=alternative).pvalue) if len(values) else 1.0
    tied = len(np.unique(np.abs(values))) < len(values)
    walsh = walsh_averages(every)
    lower, upper = _interval(walsh, len(every), level)
    return SignedRank(
        v=v,
        smaller=min(v, total - v),
        p=p,
        used=len(values),
        zeros=len(every) - len(values),
        exact=not tied and len(values) == len(every),
        estimate=float(np.median(walsh)),
        lower=lower,
        upper=upper,
        level=level,
    )


def walsh_averages(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The means of all pairs of values, each with itself too, sorted: n (n + 1) / 2 of them."""
    first, second = np.triu_indices(len(values))
    return np.sort((values[first] + values[second]) / 2)


def signed_rank_distribution(n: int) -> NDArray[np.float64]:
    """Chance of each sum 0 .. n (n + 1) / 2 of positive ranks where signs are fair coins."""
    chances = np.zeros(n * (n + 1) // 2 + 1)
    chances[0] = 1.0
    for rank in range(1, n + 1):
        shifted = np.zeros_like(chances)
        shifted[rank:] = chances[: len(chances) - rank]
        chances = (chances + shifted) / 2
    return chances


def _interval(
    walsh: NDArray[np.float64], n: int, level: float
) -> tuple[float, float] | tuple[None, None]:
    below = np.cumsum(signed_rank_distribution(n))
    cut = int(np.searchsorted(below, (1 - level) / 2, side="right"))
    if cut == 0:
        return None, None
    return float(walsh[cut - 1]), float(walsh[len(walsh) - cut])
