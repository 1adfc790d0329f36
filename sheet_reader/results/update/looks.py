"""Intervals for a comparison that is looked at again and again.

A 95 % interval holds for one look. With K equally spaced looks the chance that at least one of
them misses the truth grows (5 looks: 14 %), so each interval is widened by the constant of
Pocock 1977, *Group sequential methods in the design and analysis of clinical trials*, Biometrika
64:191-199 (constants for two-sided 5 %: 2.178, 2.289, 2.361, 2.413, 2.453 for 2-6 looks). They
are computed for any K by the recursion of Armitage, McPherson & Rowe 1969, *Repeated significance
tests on accumulating data*, J. R. Statist. Soc. A 132:235-244.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from sheet_reader.errors import UsageError

MOST_LOOKS = 100
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(120)


@lru_cache(maxsize=1024)
def overall_error(looks: int, constant: float) -> float:
    """Chance that any of ``looks`` equally spaced looks has |z| above ``constant``, 0..1.

    The density of the sum after each look, kept inside the bounds, is carried on by Gauss-Legendre
    quadrature: after look k the sum of k standard normal steps lies within constant times root k.
    """
    limit = constant
    points, weights = _NODES * limit, _WEIGHTS * limit
    density = norm.pdf(points)
    for look in range(2, looks + 1):
        limit = constant * np.sqrt(look)
        after = _NODES * limit
        density = norm.pdf(after[:, None] - points[None, :]) @ (density * weights)
        points, weights = after, _WEIGHTS * limit
    return 1.0 - float(np.sum(density * weights))


@lru_cache(maxsize=256)
def constant(looks: int, error: float = 0.05) -> float:
    """The z beyond which no look may lie so that all ``looks`` together err in ``error`` of cases.

    Raises UsageError for fewer than 1 or more than 100 looks.
    """
    if not 1 <= looks <= MOST_LOOKS:
        raise UsageError(f"the planned number of updates must be 1 to {MOST_LOOKS}")
    single = float(norm.isf(error / 2))
    if looks == 1:
        return single
    return float(
        brentq(lambda z: overall_error(looks, float(z)) - error, single, single + 4, xtol=1e-10)
    )


def look_level(looks: int, level: float = 0.95) -> float:
    """The level of each single interval, so that all ``looks`` together hold with ``level``.

    It is carried from the normal to the t distribution as a level (Jennison & Turnbull 2000,
    *Group Sequential Methods*, section 3.8; from memory).
    """
    return 1.0 - 2.0 * float(norm.sf(constant(looks, 1.0 - level)))
