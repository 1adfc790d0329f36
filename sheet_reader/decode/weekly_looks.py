r"""What a study's own audits show, however often one looks: test martingales over sites.

Audits are looked at every week, and a fixed-sample test looked at again and again is wrong far more
often than it says. Here the evidence is a likelihood ratio of whole sequences, a nonnegative
martingale where the share is as assumed, so that it ever reaches 1 / delta with probability delta
at most (J. Ville, *Étude critique de la notion de collectif*, 1939; A. Wald, Annals of Mathematical
Statistics 16:117, 1945; e-processes: P. Grünwald, R. de Heide & W. Koolen, Journal of the Royal
Statistical Society B 86:1091, 2024).

The unit is the site: a site's fields are mostly by one hand. Each site has its own rate of errors,
from a beta distribution of mean m and first parameter a (the gamma shape of ``clustered`` for small
m); the probability of its sequence of right and wrong fields is B(a + k, b + n - k) / B(a, b) with
b = a (1 - m) / m. The least ratio over several a is taken: it is valid whichever of them holds (the
least of e-values is one for the union of their nulls).

A drift is looked for with the sum of the ratios begun anew each month (Shiryaev–Roberts; as an
e-detector: J. Shin, A. Ramdas & A. Rinaldo, New England Journal of Statistics in Data Science
2:229, 2024): it reaches 1 / delta falsely once in 1 / delta months at most on average.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln

from sheet_reader.numbers import DECODE

SHAPES = DECODE.site_shapes
WORSE = DECODE.worse
BETTER = DECODE.better


def evidence_against(wrong: ArrayLike, checked: ArrayLike, share: float) -> float:
    """E-value against "at most ``share`` of the fields are wrong": 20 or more is an alarm at 5 %.
    ``wrong`` and ``checked`` (S,) are the counts of each site so far.
    """
    return _least_ratio(wrong, checked, share, WORSE)


def evidence_for(wrong: ArrayLike, checked: ArrayLike, share: float) -> float:
    """E-value against "more than ``share`` of the fields are wrong": 20 or more bears the promise
    out at 5 %.
    """
    return _least_ratio(wrong, checked, share, BETTER)


def drift(months: Sequence[tuple[ArrayLike, ArrayLike]], share: float) -> NDArray[np.float64]:
    """The detector after each month: the sum of ``evidence_against`` over all months it may have
    begun in. ``months`` holds the counts (S,) wrong and checked of the same sites, month by month.
    """
    wrong = np.array([np.asarray(w, np.int64) for w, _ in months]).reshape(len(months), -1)
    checked = np.array([np.asarray(n, np.int64) for _, n in months]).reshape(len(months), -1)
    return np.array(
        [
            sum(
                evidence_against(
                    wrong[first : last + 1].sum(0), checked[first : last + 1].sum(0), share
                )
                for first in range(last + 1)
            )
            for last in range(len(months))
        ]
    )


def _least_ratio(
    wrong: ArrayLike, checked: ArrayLike, share: float, times: Sequence[float]
) -> float:
    k, n = (np.asarray(x, np.float64).ravel() for x in (wrong, checked))
    found = []
    for shape in SHAPES:
        null = _log_likelihood(k, n, share, shape)
        logs = [_log_likelihood(k, n, min(0.5, t * share), shape) - null for t in times]
        found.append(float(np.mean(np.exp(np.clip(logs, -700.0, 700.0)))))
    return min(found)


def _log_likelihood(
    k: NDArray[np.float64], n: NDArray[np.float64], mean: float, shape: float
) -> float:
    a, b = shape, shape * (1.0 - mean) / mean
    return float((betaln(a + k, b + n - k) - betaln(a, b)).sum())
