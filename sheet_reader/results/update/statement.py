"""What the finds of all sites allow to say of two plots: the figure, its range, or why neither."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sheet_reader.results.update import looks
from sheet_reader.results.update.conscience import Trial, trial
from sheet_reader.results.update.typical_site import (
    FARTHEST,
    SiteCounts,
    critical,
    part_of,
    peak,
    span,
)

LEAST_SITES = 6
"""With fewer sites with a find nothing is said: the range holds from here on, as measured."""
Verdict = Literal["fewer", "more", "open", "too few sites", "too few animals"]


@dataclass(frozen=True, slots=True)
class Interval:
    """Bounds of a ratio, 0 and infinity included; ``level`` is that of this single interval."""

    lower: float
    upper: float
    level: float


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
    levels = (looks.look_level(planned_looks), 0.95)
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
