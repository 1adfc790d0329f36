"""What the finds of all sites allow to say of two plots: the figure, its range, or why neither.

*A comparison that is looked at again and again.* A 95 % interval holds for one look. With K
equally spaced looks the chance that at least one of them misses the truth grows (5 looks: 14 %),
so each interval is widened by the constant of Pocock 1977, *Group sequential methods in the design
and analysis of clinical trials*, Biometrika 64:191-199 (constants for two-sided 5 %: 2.178, 2.289,
2.361, 2.413, 2.453 for 2-6 looks). They are computed for any K by the recursion of Armitage,
McPherson & Rowe 1969, *Repeated significance tests on accumulating data*, J. R. Statist. Soc. A
132:235-244.

*Animals enough to say anything* is tried on simulated seasons. Each has the same sites, efforts and
finds in both plots together, and sites that differ as much as they seem to; only who has the finds
is drawn anew. In half of them nothing is different, in the other half the difference is the one
found. The range is worked out for each.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit
from scipy.stats import norm

from sheet_reader.errors import UsageError
from sheet_reader.results.update.typical_site import (
    FARTHEST,
    Array,
    Peak,
    SiteCounts,
    critical,
    part_of,
    peak,
    span,
)

LEAST_SITES = 6
"""With fewer sites with a find nothing is said: the range holds from here on, as measured."""
Verdict = Literal["fewer", "more", "open", "too few sites", "too few animals"]
MOST_LOOKS = 100
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(120)
FIRST, MORE = 400, 1600
"""Seasons simulated at once, and how many more where these leave a doubt."""
SLACK = 1.5
"""How many times the planned error may be seen: 7.5 % where 5 % is planned."""
_BLOCK = 3000
"""Sites of all seasons that are worked on at once: few enough to stay in a processor's cache."""
_CLEAR = 0.3
"""Under this share of the critical ratio, by a parabola, a season needs no peak of its own."""


@dataclass(frozen=True, slots=True)
class Interval:
    """Bounds of a ratio, 0 and infinity included; ``level`` is that of this single interval."""

    lower: float
    upper: float
    level: float


@dataclass(frozen=True, slots=True)
class Trial:
    """Of ``seasons`` simulated ones of each kind: the share (0..1) in which something was stated
    though nothing was different (``false``), and the share in which the range missed the truth;
    both may be ``most`` for a range of this level.
    """

    seasons: int
    false: float
    missed: float
    most: float

    @property
    def sound(self) -> bool:
        """Whether a statement may be made."""
        return max(self.false, self.missed) <= self.most


@dataclass(frozen=True, slots=True)
class Statement:
    """What may be said. Ratios are treated to control, at a typical site.

    ``sites`` are those with a find, the only ones that say anything. ``ratio`` (0 or infinity
    where one plot has no find), ``spread`` (standard deviation of the sites' log ratios) and the
    intervals are None with fewer than two. ``widened`` holds for all looks planned together,
    ``plain`` for a single one. ``trial`` is how simulated seasons like this one went; None where
    none was needed.
    """

    verdict: Verdict
    sites: int
    ratio: float | None = None
    spread: float | None = None
    widened: Interval | None = None
    plain: Interval | None = None
    trial: Trial | None = None

    @property
    def says(self) -> bool:
        """Whether figure and range may be told."""
        return self.verdict in ("fewer", "more", "open")


def state(every: SiteCounts, planned_looks: int) -> Statement:
    """The statement from the counts of ``every`` site, wide enough for ``planned_looks``."""
    sites = every.with_finds()
    found = len(sites.total)
    if found < 2:
        return Statement("too few sites", found)
    levels = (look_level(planned_looks), 0.95)
    counts = (sites.treated[None], sites.total[None], sites.offset[None])
    best = peak(counts)
    twice = part_of(counts, np.zeros(2, dtype=np.intp))
    top = np.array([critical(sites.total, level) for level in levels])
    ends = np.exp(span(twice, best.twice(), top))
    widened, plain = (
        Interval(float(low), float(high), level)
        for low, high, level in zip(*ends, levels, strict=True)
    )
    theta = float(best.theta[0])
    ratio = float(np.exp(theta if abs(theta) < FARTHEST else np.copysign(np.inf, theta)))
    verdict = _verdict(found, widened)
    tried = trial(sites, best, levels[0]) if verdict in ("fewer", "more", "open") else None
    if tried and not tried.sound:
        verdict = "too few animals"
    return Statement(verdict, found, ratio, float(best.sigma[0]), widened, plain, tried)


def _verdict(sites: int, widened: Interval) -> Verdict:
    if sites < LEAST_SITES:
        return "too few sites"
    if widened.upper < 1:
        return "fewer"
    if widened.lower > 1:
        return "more"
    return "open" if widened.lower > 0 and np.isfinite(widened.upper) else "too few animals"


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


def look_level(looks: int) -> float:
    """The level of each single interval, so that all ``looks`` together hold with 0.95.

    It is carried from the normal to the t distribution as a level (Jennison & Turnbull 2000,
    *Group Sequential Methods*, section 3.8; from memory).
    """
    return 1.0 - 2.0 * float(norm.sf(constant(looks, 1.0 - 0.95)))


def trial(sites: SiteCounts, best: Peak, level: float) -> Trial:
    """Simulate seasons like that of ``sites``, all with a find, whose peak is ``best``.

    The same counts give the same seasons.
    """
    kept = np.concatenate([sites.treated, sites.total, sites.offset]).round(6).tobytes()
    rng = np.random.default_rng(zlib.crc32(kept))
    most, top = SLACK * (1 - level), critical(sites.total, level)
    truths = (0.0, float(best.theta[0]))
    misses, seasons = np.zeros(2), 0
    block = max(1, _BLOCK // len(sites.total))
    for more in (FIRST, MORE):
        for start in range(0, more, block):
            number = min(block, more - start)
            misses += [_misses(sites, truth, best.sigma, top, number, rng) for truth in truths]
        seasons += more
        if misses.max() <= most * seasons:
            break
    false, missed = (float(number) / seasons for number in misses)
    return Trial(seasons, false, missed, most)


def _misses(
    sites: SiteCounts, truth: float, sigma: Array, top: float, seasons: int,
    rng: np.random.Generator,
) -> int:  # fmt: skip
    """In how many simulated seasons the likelihood ratio of ``truth`` lies beyond ``top``."""
    shape = (seasons, len(sites.total))
    share = expit(sites.offset + truth + sigma * rng.standard_normal(shape))
    treated: Array = rng.binomial(sites.total.astype(np.int64), share).astype(float)
    counts = (treated, np.broadcast_to(sites.total, shape), np.broadcast_to(sites.offset, shape))
    fixed = np.full(seasons, truth)
    there = peak(counts, fixed, (fixed, np.repeat(sigma, seasons)))
    near = np.flatnonzero(there.slope**2 > _CLEAR * top * there.information)
    best = peak(part_of(counts, near), None, (there.theta[near], there.sigma[near]))
    return int((2 * (best.log_likelihood - there.log_likelihood[near]) > top).sum())
