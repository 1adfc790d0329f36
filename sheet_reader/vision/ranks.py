"""Medians and other quantiles of many rows at once.

As numpy's, several times as fast: numpy ranks floating values by one place with vector
instructions, and by two places, as its own quantiles ask for, without.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sheet_reader.vision.arrays import Array, as_array


def quantiles(rows: ArrayLike, share: float) -> Array:
    """The value below which a ``share`` (0..1) of each row lies, along the last axis and linear
    between ranks, as ``numpy.quantile``; values are ranked as float32. No row may be empty.
    """
    values = np.asarray(rows, dtype=np.float32)
    place = share * (values.shape[-1] - 1)
    low = int(place)
    ranked = np.partition(values, low, axis=-1)
    found = ranked[..., low].astype(np.float64)
    if place > low:
        found += (place - low) * (ranked[..., low + 1 :].min(axis=-1) - found)
    return as_array(found)


def medians(rows: ArrayLike) -> Array:
    """The median of each row, along the last axis; see :func:`quantiles`."""
    return quantiles(rows, 0.5)
