"""What a sum tells its total and parts: the numbers behind :mod:`sheet_reader.decode.sums`, where
the model and its sources stand.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import DECODE

ADDITION_ERROR = DECODE.addition_error
_NEAR = {1: 0.10, 2: 0.04, 10: 0.06, 100: 0.02}
"""q for being off by so much, up and down each."""
_OTHER_DIGIT, _SWAPPED, _LEFT_OUT = DECODE.other_digit, DECODE.swapped, DECODE.left_out
"""Shares of q for one wrong digit, swapped neighbours, a part left out; the rest is even."""
Floats = NDArray[np.float64]


def sum_messages(total: Floats, parts: Sequence[Floats]) -> tuple[list[Floats], float]:
    """Messages of one sum to its total and each part, and P(added wrongly | all readings).

    ``total`` and ``parts`` are distributions over 0, 1, 2, … (any lengths, each sums to 1).
    Returns (messages in the order total, parts…; each as long as its distribution, largest 1),
    probability of an addition error.
    """
    before = [np.ones(1)]
    for part in parts[:-1]:
        before.append(_convolve(before[-1], part))
    after = [np.ones(1)]
    for part in reversed(parts[1:]):
        after.append(_convolve(after[-1], part))
    others = [_convolve(b, a) for b, a in zip(before, reversed(after), strict=True)]
    whole = _convolve(others[0], parts[0])
    size = max(len(whole), len(total))
    sums, totals = _padded(whole, size), _padded(total, size)
    to_total = ((1.0 - ADDITION_ERROR) * sums + ADDITION_ERROR * _with_error(sums, size))[
        : len(total)
    ]
    reach = (1.0 - ADDITION_ERROR) * totals + ADDITION_ERROR * _with_error(totals, size)
    right = (1.0 - ADDITION_ERROR) * float(sums @ totals)
    everything = float(to_total @ total)
    out = [to_total]
    for other, part in zip(others, parts, strict=True):
        window = _padded(reach, len(other) + len(part) - 1)
        first = len(other) - 1
        out.append(_convolve(window, other[::-1])[first : first + len(part)])
    addition_error = 1.0 - right / everything if everything > 0.0 else 1.0
    return [m / max(float(m.max()), 1e-300) for m in out], addition_error


def _convolve(one: Floats, other: Floats) -> Floats:
    """Full convolution; by FFT where the direct sum would take too long."""
    if len(one) * len(other) <= 4_000_000:
        return np.convolve(one, other)
    size = len(one) + len(other) - 1
    product = np.fft.rfft(one, size) * np.fft.rfft(other, size)
    result: Floats = np.maximum(np.fft.irfft(product, size), 0.0)
    return result


def _padded(table: Floats, size: int) -> Floats:
    return np.concatenate([table, np.zeros(max(0, size - len(table)))])[:size]


def _with_error(table: Floats, size: int) -> Floats:
    """``table`` (size,) convolved with the symmetric q of an addition error, cut to 0..size-1."""
    q = addition_error_shares(size)
    both = np.concatenate([q[:0:-1], q])
    result: Floats = _convolve(table, both)[size - 1 : 2 * size - 1]
    return result


@lru_cache(maxsize=64)
def addition_error_shares(size: int) -> Floats:
    """q(d) (size,) for a total off by d = 0 … size - 1, the same up and down; q(0) = 0. All d
    together, up and down, have less than 1 where offsets of 100 and more do not fit in ``size``.
    """
    q = np.zeros(max(size, 2))

    def add(offsets: list[int], share: float) -> None:
        for d in offsets:
            if d < len(q):
                q[d] += share

    for offset, share in _NEAR.items():
        add([offset], share)
    places = [10**j for j in range(len(str(len(q) - 1)))]
    digits = [k * place for place in places for k in range(1, 10)]
    add(digits, _OTHER_DIGIT / 2 / len(digits))
    swaps = [9 * k * place for place in places for k in range(1, 10)]
    add(swaps, _SWAPPED / 2 / len(swaps))
    tail = 1.0 / np.arange(1, len(q))
    q[1:] += _LEFT_OUT / 2 * tail / tail.sum()
    rest = 1.0 - 2.0 * sum(_NEAR.values()) - _OTHER_DIGIT - _SWAPPED - _LEFT_OUT
    q[1:] += rest / 2 / (len(q) - 1)
    q.setflags(write=False)
    return q[:size]
