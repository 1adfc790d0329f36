"""Whether a season has animals enough to say anything: tried on simulated seasons like it.

Each has the same sites, efforts and finds in both plots together, and sites that differ as much as
they seem to; only who has the finds is drawn anew. In half of them nothing is different, in the
other half the difference is the one found. The range is worked out for each.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from sheet_reader.results.update.typical_site import (
    Array,
    Peak,
    SiteCounts,
    critical,
    part_of,
    peak,
)

FIRST, MORE = 400, 1600
"""Seasons simulated at once, and how many more where these leave a doubt."""
SLACK = 1.5
"""How many times the planned error may be seen: 7.5 % where 5 % is planned."""
_BLOCK = 3000
"""Sites of all seasons that are worked on at once: few enough to stay in a processor's cache."""
_CLEAR = 0.3
"""Under this share of the critical ratio, by a parabola, a season needs no peak of its own."""


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
