r"""Exact statements about a share wrong where errors cluster by person.

The sampling unit is the person (a writer; for a study's own audits a site), not the field. A
person's rate of errors is drawn from a gamma distribution of mean ``share`` and shape
``SHAPE``; given the rate, errors are Poisson, so a person with n fields has a negative binomial
number of errors with mean n · share and variance mean + mean² / shape (M. Greenwood & G. U. Yule,
Journal of the Royal Statistical Society 83:255, 1920; accident proneness is the same question).

Which shape the population has can't be told from a handful of errors. With a smaller one errors
stand closer together and fewer are seen in most samples, so the smallest that is allowed for is
the careful choice: what holds at SHAPE holds at every larger shape, independent errors included
(shown by simulation in ``tests/decode/test_clustered.py``, with beta mixing too). At 0.1 the worst
tenth of people make nine tenths of the errors. Without any such limit nothing could be said: 150
people without an error don't exclude that one in a hundred is always misread (the exact bound of a
bounded mean, 1 - 0.05^(1/150), is 2 %).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from sheet_reader.decode.binomial import checks_needed
from sheet_reader.numbers import DECODE

SHAPE = DECODE.error_shape


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


def _people(sizes: ArrayLike) -> NDArray[np.float64]:
    n: NDArray[np.float64] = np.asarray(sizes, np.float64).ravel()
    return n[n > 0]


def _errors(
    means: NDArray[np.float64], people: NDArray[np.float64], shape: float, wrong: int
) -> NDArray[np.float64]:
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
    chances: NDArray[np.float64] = np.fft.irfft(np.exp(shape * logs), length)
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
    if not len(n):
        n = np.ones(1)
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
    if sizes is None or not len(_people(sizes)):
        return checks_needed(share, delta, wrong) - checked
    return fields_needed(wrong, sizes, share, delta) - checked
