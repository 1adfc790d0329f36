r"""Exact statements about the share of fields that are wrong, from a count of checked ones.

**Independent errors.** C. J. Clopper & E. S. Pearson, Biometrika 26:404, 1934: with k wrong of n,
the one-sided upper bound at confidence 1 - delta is the share p at which
P(Binomial(n, p) <= k) = delta, that is the 1 - delta quantile of Beta(k + 1, n - k).

**Errors that cluster by person** (``…_clustered``). The sampling unit is the person (a writer; for
a study's own audits a site), not the field. A person's rate of errors is drawn from a gamma
distribution of mean ``share`` and shape ``SHAPE``; given the rate, errors are Poisson, so a person
with n fields has a negative binomial number of errors with mean n · share and variance
mean + mean² / shape (M. Greenwood & G. U. Yule, Journal of the Royal Statistical Society 83:255,
1920; accident proneness is the same question). Which shape the population has can't be told from a
handful of errors. With a smaller one errors stand closer together and fewer are seen in most
samples, so the smallest that is allowed for is the careful choice: what holds at SHAPE holds at
every larger shape, independent errors included (shown by simulation in
``tests/decode/test_error_share.py``, with beta mixing too). At 0.1 the worst tenth of people make
nine tenths of the errors. Without any such limit nothing could be said: 150 people without an error
don't exclude that one in a hundred is always misread (the exact bound of a bounded mean,
1 - 0.05^(1/150), is 2 %).

**However often one looks** (``evidence_…``, ``drift``). Audits are looked at every week, and a
fixed-sample test looked at again and again is wrong far more often than it says. Here the evidence
is a likelihood ratio of whole sequences, a nonnegative martingale where the share is as assumed, so
that it ever reaches 1 / delta with probability delta at most (J. Ville, *Étude critique de la
notion de collectif*, 1939; A. Wald, Annals of Mathematical Statistics 16:117, 1945; e-processes:
P. Grünwald, R. de Heide & W. Koolen, Journal of the Royal Statistical Society B 86:1091, 2024).
Each site has its own rate of errors, from a beta distribution of mean m and first parameter a (the
gamma shape above for small m); the probability of its sequence of right and wrong fields is
B(a + k, b + n - k) / B(a, b) with b = a (1 - m) / m. The least ratio over several a is taken: it is
valid whichever of them holds (the least of e-values is one for the union of their nulls). A drift
is looked for with the sum of the ratios begun anew each month (Shiryaev–Roberts; as an e-detector:
J. Shin, A. Ramdas & A. Rinaldo, New England Journal of Statistics in Data Science 2:229, 2024): it
reaches 1 / delta falsely once in 1 / delta months at most on average.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import betainc, betaincinv, betaln

from sheet_reader.numbers import DECODE
from sheet_reader.wording import percent

SHAPE: float = DECODE.error_shape
_MANY = 1 << 48

Floats = NDArray[np.float64]


def upper_bound(wrong: float, checked: float, delta: float = 0.05) -> float:
    """One-sided exact upper bound of the share wrong (0..1), valid with probability 1 - delta.
    The counts may be effective ones, not whole (see ``at_most``).
    """
    return float(betaincinv(wrong + 1, checked - wrong, 1.0 - delta)) if wrong < checked else 1.0


def lower_bound(wrong: int, checked: int, delta: float = 0.05) -> float:
    """One-sided exact lower bound of the share wrong (0..1), valid with probability 1 - delta."""
    return float(betaincinv(wrong, checked - wrong + 1, delta)) if wrong > 0 else 0.0


def clopper_pearson(wrong: int, checked: int, confidence: float = 0.95) -> tuple[float, float]:
    """Two-sided exact interval of the share wrong at ``confidence`` (0..1)."""
    half = (1.0 - confidence) / 2.0
    return lower_bound(wrong, checked, half), upper_bound(wrong, checked, half)


def at_most(wrong: float, checked: float, share: float) -> float:
    """P(Binomial(checked, share) <= wrong): the p-value against "more than ``share`` wrong".

    By the incomplete beta function, which takes counts between whole ones too: where errors come
    in groups, both counts are divided by the design effect first (Korn & Graubard, Survey
    Methodology 24:193, 1998).
    """
    return float(betainc(checked - wrong, wrong + 1, 1.0 - share)) if checked > wrong else 1.0


def checks_needed(share: float, delta: float = 0.05, wrong: int = 0) -> int:
    """Smallest number of checked fields that, with ``wrong`` wrong ones among them, shows a share
    of at most ``share`` at confidence 1 - delta (2,995 for 0, 0.001, 0.05).
    """
    counts = range(max(wrong, 1), _MANY)
    return counts[bisect_left(counts, True, key=lambda n: at_most(wrong, n, share) <= delta)]


@dataclass(frozen=True, slots=True)
class ObservedError:
    """``wrong`` of ``checked`` fields, with the exact bounds of the true share."""

    wrong: int
    checked: int
    confidence: float = 0.95

    @property
    def upper(self) -> float:
        """One-sided upper bound of the share wrong."""
        return upper_bound(self.wrong, self.checked, 1.0 - self.confidence)

    @property
    def interval(self) -> tuple[float, float]:
        """Two-sided interval of the share wrong."""
        return clopper_pearson(self.wrong, self.checked, self.confidence)

    @property
    def sentence(self) -> str:
        """For example "0 of 315 wrong: at most 0.95 % with 95 % confidence"."""
        if self.checked == 0:
            return "nothing checked yet"
        return (
            f"{self.wrong:,} of {self.checked:,} wrong: at most {percent(self.upper)} with "
            f"{self.confidence * 100:g} % confidence"
        )


def at_most_clustered(
    wrong: int, sizes: ArrayLike, share: float, shape: float = SHAPE, times: float = 1.0
) -> float:
    """P(as few errors as ``wrong`` or fewer) where the mean share is ``share`` (0..1): the p-value
    against "more than ``share`` wrong". ``sizes`` (W,) are the numbers of fields of each person;
    ``times`` asks for as many times the people, of the same sizes.
    """
    n = _people(sizes)
    if not len(n):
        return 1.0
    different, people = np.unique(n, return_counts=True)
    means, counts = different * np.float64(share), people.astype(np.float64) * times
    return float(np.clip(_errors(means, counts, shape, wrong).sum(), 0.0, 1.0))


def _people(sizes: ArrayLike | None) -> Floats:
    n: Floats = np.asarray(() if sizes is None else sizes, np.float64).ravel()
    return n[n > 0]


def _errors(means: Floats, people: Floats, shape: float, wrong: int) -> Floats:
    """Probabilities of 0 to ``wrong`` errors in all: the product of the negative binomials'
    generating functions ((1 - q) / (1 - q z))^shape, taken back by the discrete Fourier transform,
    which is exact up to the tail beyond its length.
    """
    total = float(people @ means)
    spread = float(np.sqrt(people @ (means + means**2 / shape)))
    length = 1 << int(np.ceil(np.log2(max(64.0, 2.0 * wrong, total + 40.0 * spread))))
    q = means / (means + shape)
    z = np.exp(-2j * np.pi * np.arange(length // 2 + 1) / length)
    logs = people @ (np.log1p(-q)[:, None] - np.log(1.0 - q[:, None] * z[None, :]))
    chances: Floats = np.fft.irfft(np.exp(shape * logs), length)
    return chances[: wrong + 1]


def upper_bound_clustered(
    wrong: int, sizes: ArrayLike, delta: float = 0.05, shape: float = SHAPE
) -> float:
    """One-sided upper bound (0..1) of the mean share wrong, valid with probability 1 - delta."""
    n = _people(sizes)
    if not len(n) or wrong >= n.sum():
        return 1.0
    most = 0.999
    low, high = 1e-9, (wrong + 1.0) / n.sum()
    while at_most_clustered(wrong, n, high, shape) > delta:  # small shares are quickly told
        if high >= most:
            return 1.0
        low, high = high, min(2.0 * high, most)

    def excess(log_share: float) -> float:
        return at_most_clustered(wrong, n, float(np.exp(log_share)), shape) - delta

    return float(np.exp(brentq(excess, np.log(low), np.log(high), xtol=1e-9)))


def fields_needed(
    wrong: int, sizes: ArrayLike, share: float, delta: float = 0.05, shape: float = SHAPE
) -> int:
    """How many fields in all, spread over people as ``sizes`` is and with no more than ``wrong``
    errors, would show a share of at most ``share``; without anybody, by people of one field each.
    """
    n = _people(sizes)
    n = n if len(n) else np.ones(1)
    low, high = 0.0, 1.0
    while at_most_clustered(wrong, n, share, shape, high) > delta:
        low, high = high, high * 2.0
    while high - low > 1e-5 * high:
        middle = (low + high) / 2.0
        shown = at_most_clustered(wrong, n, share, shape, middle) <= delta
        low, high = (low, middle) if shown else (middle, high)
    return int(np.ceil(high * n.sum()))


def fields_missing(
    wrong: int, checked: int, sizes: ArrayLike | None, share: float, delta: float
) -> int:
    """How many more fields than ``checked``, none wrong, would show a share of at most ``share``;
    ``sizes`` (W,) as in :func:`at_most_clustered`, None where it is not known who wrote.
    """
    if not len(people := _people(sizes)):
        return checks_needed(share, delta, wrong) - checked
    return fields_needed(wrong, people, share, delta) - checked


def evidence_against(wrong: ArrayLike, checked: ArrayLike, share: float) -> float:
    """E-value against "at most ``share`` of the fields are wrong": 20 or more is an alarm at 5 %.
    ``wrong`` and ``checked`` (S,) are the counts of each site so far.
    """
    return _least_ratio(wrong, checked, share, DECODE.worse)


def evidence_for(wrong: ArrayLike, checked: ArrayLike, share: float) -> float:
    """E-value against "more than ``share`` of the fields are wrong": 20 or more bears the promise
    out at 5 %.
    """
    return _least_ratio(wrong, checked, share, DECODE.better)


def drift(months: Sequence[tuple[ArrayLike, ArrayLike]], share: float) -> Floats:
    """The detector after each month: the sum of ``evidence_against`` over all months it may have
    begun in. ``months`` holds the counts (S,) wrong and checked of the same sites, month by month.
    """
    counts = np.array(months, np.int64)

    def since(first: int, end: int) -> float:
        wrong, checked = counts[first:end].sum(0)
        return evidence_against(wrong, checked, share)

    ends = range(1, len(months) + 1)
    return np.array([sum(since(first, end) for first in range(end)) for end in ends])


def _least_ratio(
    wrong: ArrayLike, checked: ArrayLike, share: float, times: Sequence[float]
) -> float:
    k, n = (np.asarray(x, np.float64).ravel() for x in (wrong, checked))

    def log_likelihood(mean: float, a: float) -> float:
        b = a * (1.0 - mean) / mean
        return float((betaln(a + k, b + n - k) - betaln(a, b)).sum())

    found = []
    for shape in DECODE.site_shapes:
        null = log_likelihood(share, shape)
        logs = [log_likelihood(min(0.5, t * share), shape) - null for t in times]
        found.append(float(np.mean(np.exp(np.clip(logs, -700.0, 700.0)))))
    return min(found)
