r"""The ratio at a typical site: treated animals among all of a site, with a random site effect.

Given the total n of both plots of a site, its treated count y is binomial with

    logit p = o + theta + sigma z,    z standard normal,

where o is the log ratio of efforts (:func:`site_counts`), theta the log ratio of densities at
the typical (median) site and sigma how far sites differ, by themselves or by counts that vary more
than chance. A site without a find (n = 0) has likelihood 1 whatever theta: it says nothing. The
integral over z is adaptive Gauss-Hermite quadrature (Liu & Pierce 1994, Biometrika 81:624-629;
from memory), done for many seasons and all sites at once.

The range of theta holds every value whose likelihood ratio, sigma chosen anew, stays under

    m ln(1 + t^2 / (m - 1)),    t Student's quantile with m - 1 degrees of freedom,

for m sites with finds. Where animals are many each site's log ratio is known, and the range is
exactly Student's interval of their mean; where they are few it is wider than the chi-square's.
t is taken farther: by 2 %, since counts are skewed, and by up to 10 % more where sites have few
animals, since those where the treated plot happens to have more weigh more then. Both shares come
from simulated seasons; ``python -m sheet_reader.lab.season_coverage`` measures on others how often
all looks of a season hold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit
from scipy.stats import t as student

Array = NDArray[np.float64]
Counts = tuple[Array, Array, Array]
"""Of S seasons with M sites: treated animals, all animals and offsets, (S, M) each."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_NODES = _NODES[:, None, None]
_LOG_WEIGHTS = (np.log(_WEIGHTS) - 0.5 * np.log(2 * np.pi))[:, None, None] + _NODES**2 / 2
FARTHEST, WIDEST = 8.0, 3.0
"""The largest \\|theta\\| and sigma that are tried."""
_MOST_STEPS, _CLOSE = 40, 2e-3
_START, _NEAR, _AT_MODE = 0.4, 1e-3, 0.3
_FARTHER, _FEW = (0.02, 0.1), 10


@dataclass(frozen=True, slots=True, eq=False)
class SiteCounts:
    """Sums of M sites, (M,) each: ``treated`` of ``total`` animals, and ``offset``, the log ratio
    of efforts, treated to control (0 at a site without a find).
    """

    treated: Array
    total: Array
    offset: Array

    def with_finds(self) -> SiteCounts:
        """Without the sites that have no find, which say nothing."""
        found = self.total > 0
        return SiteCounts(self.treated[found], self.total[found], self.offset[found])


def site_counts(
    site: NDArray[np.intp], treated: Array, control: Array, effort_ratio: Array
) -> SiteCounts:
    """Sum paired visits (V,) by ``site`` (its place, from 0). ``effort_ratio`` is of each visit.

    That of a site is the one under which its treated animals would be as many as by those of its
    visits, if nothing were different: visits with more animals weigh more, as they do in the sums.
    """
    animals = treated + control
    total: Array = np.bincount(site, animals).astype(float)
    due = np.bincount(site, animals * effort_ratio / (1 + effort_ratio))
    share = np.divide(due, total, out=np.full(len(total), 0.5), where=total > 0)
    return SiteCounts(np.bincount(site, treated).astype(float), total, logit(share))


@dataclass(frozen=True, slots=True, eq=False)
class Peak:
    """Maxima of the likelihood of S seasons, each (S,): ``theta``, ``sigma``, ``log_likelihood``
    (binomial coefficients left out), and for theta, sigma chosen anew, the ``slope`` of the log
    likelihood (0 where theta was free) and its ``information`` (second derivative, negative).
    """

    theta: Array
    sigma: Array
    log_likelihood: Array
    slope: Array
    information: Array

    def twice(self) -> Peak:
        """Every season two times."""
        parts = (self.theta, self.sigma, self.log_likelihood, self.slope, self.information)
        return Peak(*(np.repeat(part, 2) for part in parts))


@dataclass(slots=True, eq=False)
class _Point:
    """Log likelihood (S,), gradient (S, 2), information (S, 3: of theta, of both, of sigma), modes
    of z (S, M).
    """

    value: Array
    gradient: Array
    information: Array
    modes: Array


def _evaluate(
    treated: Array, total: Array, offset: Array, theta: Array, sigma: Array, modes: Array
) -> _Point:
    """The likelihood at ``theta`` and ``sigma`` (S,) with both derivatives, by Louis' formula."""
    middle, spread = offset + theta[:, None], sigma[:, None]
    for _ in range(_MOST_STEPS):
        p = expit(middle + spread * modes)
        slope = spread * (treated - total * p) - modes
        bend = spread**2 * total * p * (1 - p) + 1
        step = np.clip(slope / bend, -1.5, 1.5)
        modes = modes + step
        if (np.abs(step) * np.sqrt(bend)).max(initial=0) < _AT_MODE:
            break
    width = 1 / np.sqrt(bend)
    z = modes + width * _NODES
    eta = middle + spread * z
    small = np.exp(-np.abs(eta))
    soft = np.maximum(eta, 0) + np.log1p(small)
    p = np.where(eta > 0, 1.0, small) / (1 + small)
    height = treated * eta - total * soft - z * z / 2 + _LOG_WEIGHTS
    top = height.max(axis=0)
    weight = np.exp(height - top)
    mass = weight.sum(axis=0)
    weight /= mass
    value = (top + np.log(mass * width)).sum(axis=1)
    inner = total * p
    rest = treated - inner
    inner *= 1 - p
    weighted, inner = weight * rest, weight * (inner - rest * rest)
    in_theta, in_sigma = weighted.sum(axis=0), (weighted * z).sum(axis=0)
    gradient = np.stack([in_theta.sum(axis=1), in_sigma.sum(axis=1)], axis=-1)
    turned = inner * z
    bends = (
        inner.sum(axis=0) + in_theta * in_theta,
        turned.sum(axis=0) + in_theta * in_sigma,
        (turned * z).sum(axis=0) + in_sigma * in_sigma,
    )
    information = np.stack([bend.sum(axis=1) for bend in bends], axis=-1)
    return _Point(value, gradient, information, modes)


def peak(
    counts: Counts, fixed: Array | None = None, start: tuple[Array, Array] | None = None
) -> Peak:
    """The maxima over theta and sigma, or over sigma alone where theta is ``fixed`` (S,).

    ``start`` are theta and sigma (S,) to begin with. Newton's method with shortened steps, all
    seasons at once that have not yet settled.
    """
    seasons = len(counts[0])
    theta, sigma = start or (np.zeros(seasons), np.full(seasons, _START))
    theta, sigma = (theta if fixed is None else fixed).astype(float), np.maximum(sigma, 0.1)
    here = _evaluate(*counts, theta, sigma, np.zeros(counts[0].shape))
    scale = np.ones(seasons)
    for _ in range(_MOST_STEPS):
        step = scale[:, None] * _step(here, fixed is None, sigma >= WIDEST)
        new_theta = np.clip(theta + step[:, 0], -FARTHEST, FARTHEST)
        new_sigma = np.minimum(np.abs(sigma + step[:, 1]), WIDEST)
        moved = np.stack([new_theta - theta, new_sigma - sigma], axis=1)
        gain = np.abs(moved * here.gradient).sum(axis=1)
        at = np.flatnonzero(gain > _CLOSE * scale)
        if not len(at):  # the last step is so short that its end needs no look
            theta, sigma, here.value = new_theta, new_sigma, here.value + gain / 2
            break
        some = part_of(counts, at)
        there = _evaluate(*some, new_theta[at], new_sigma[at], here.modes[at])
        better = there.value >= here.value[at] - 1e-9
        scale[at] = np.where(better, 1.0, scale[at] / 3)
        at = at[better]
        theta[at], sigma[at] = new_theta[at], new_sigma[at]
        for name in ("value", "gradient", "information", "modes"):
            getattr(here, name)[at] = getattr(there, name)[better]
    a, b, c = here.information.T
    of_theta = a - np.where(c > 0, b * b / np.maximum(c, 1e-3), 0)
    return Peak(theta, sigma, here.value, here.gradient[:, 0], np.maximum(of_theta, 0.1 * a))


def part_of(counts: Counts, at: NDArray[np.intp]) -> Counts:
    """The seasons at ``at``."""
    treated, total, offset = counts
    return treated[at], total[at], offset[at]


def _step(here: _Point, both: bool, widest: NDArray[np.bool_]) -> Array:
    """Newton's step (S, 2), uphill, its parts at most 1; 0 for a theta that is fixed."""
    info, (g0, g1) = here.information, here.gradient.T
    a, b, c = info.T
    a, c_up = np.maximum(a, 1e-3), np.maximum(np.abs(c), 1e-3)
    if not both:
        return np.stack([np.zeros_like(g1), np.clip(g1 / c_up, -1, 1)], axis=-1)
    whole = a * c - b * b
    sound = (c > 0) & (whole > 0.05 * a * c_up) & ~widest
    safe = np.where(sound, whole, 1.0)
    to_theta = np.where(sound, (c * g0 - b * g1) / safe, g0 / a)
    to_sigma = np.where(sound, (a * g1 - b * g0) / safe, g1 / c_up)
    step = np.stack([to_theta, to_sigma], axis=-1)
    longest: Array = np.abs(step).max(axis=1, keepdims=True)
    return step / np.maximum(longest, 1)


def critical(total: Array, level: float) -> float:
    """The likelihood ratio (twice the difference of logs) under which a value lies in the range,
    for sites with ``total`` (M,) animals each, all with a find.
    """
    sites = len(total)
    farther = 1 + _FARTHER[0] + _FARTHER[1] * float(np.mean(1 / (1 + total / _FEW)))
    t = farther * float(student.ppf(0.5 + level / 2, sites - 1))
    return sites * float(np.log1p(t * t / (sites - 1)))


def span(counts: Counts, best: Peak, top: Array) -> tuple[Array, Array]:
    """The ranges of theta, (S,) each, in which the likelihood ratio stays under ``top`` (S,).

    Minus infinity or infinity where even the farthest value fits.
    """
    return _end(counts, best, top, -1), _end(counts, best, top, 1)


def _end(counts: Counts, best: Peak, top: Array, sign: int) -> Array:
    """One end of each range: outwards until the ratio is too large, then by false position (with
    halving: Dowell & Jarratt 1971, BIT 11:168-174; from memory) on its root, nearly straight.
    """

    def beyond(at: NDArray[np.intp], theta: Array) -> Array:
        there = peak(part_of(counts, at), theta, (theta, best.sigma[at]))
        less = 2 * (best.log_likelihood[at] - there.log_likelihood)
        return np.sqrt(np.maximum(less, 0)) - np.sqrt(top[at])

    inner, low = best.theta.copy(), -np.sqrt(top)
    reach = sign * np.sqrt(top / np.maximum(best.information, 0.1))
    outer = np.clip(inner + reach, -FARTHEST, FARTHEST)
    high = beyond(np.arange(len(top)), outer)
    while len(at := np.flatnonzero((high <= 0) & (np.abs(outer) < FARTHEST))):
        inner[at], low[at] = outer[at], high[at]
        outer[at] = np.clip(outer[at] + reach[at], -FARTHEST, FARTHEST)
        high[at] = beyond(at, outer[at])
    end = np.full(len(top), sign * np.inf)
    at = np.flatnonzero(high > 0)
    for _ in range(_MOST_STEPS):
        if not len(at):
            break
        a, b, low_at, high_at = inner[at], outer[at], low[at], high[at]
        end[at] = middle = a + (b - a) * low_at / (low_at - high_at)
        found = beyond(at, middle)
        far = found > 0
        inner[at], low[at] = np.where(far, a, middle), np.where(far, low_at / 2, found)
        outer[at], high[at] = np.where(far, middle, b), np.where(far, found, high_at / 2)
        at = at[np.abs(found) > _NEAR]
    return end
