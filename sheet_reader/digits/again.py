"""A sheet's boxes, the doubtful ones read a second time by a larger network.

The small network reads every box; where it is in doubt the larger one, which costs three times as
much a box, decides alone. Errors cluster by hand: a sheet with many doubtful digits is in a hand
that the small network knows badly and is surer of than it should be, so there nearly every digit
is read again.
"""

from __future__ import annotations

from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.read import Reader, read_boxes
from sheet_reader.digits.types import CLASSES, EMPTY, BoxReadings
from sheet_reader.numbers import DIGITS as NUMBERS

LARGER_WEIGHTS = "larger.onnx"
LARGER_CALIBRATION = "larger_calibration.json"
DIGITS = 10
_EMPTY_AT = CLASSES.index(EMPTY)


AGAIN = NUMBERS.again


def doubtful(probabilities: NDArray[np.float64]) -> NDArray[np.intp]:
    """Which boxes of one sheet, with class ``probabilities`` (N, 14), are to be read again."""
    digits = probabilities[:, :DIGITS]
    held = digits[digits.sum(axis=1) > 0.5]
    unclear = int((held.max(axis=1, initial=0.0) < AGAIN.unclear).sum())
    odd = len(held) > 0 and (unclear - 1) / len(held) >= AGAIN.odd_share
    least = AGAIN.doubtful_if_odd if odd else AGAIN.doubtful
    asked = probabilities.max(axis=1, initial=0.0) < least
    return np.flatnonzero(asked & (probabilities[:, _EMPTY_AT] <= AGAIN.surely_empty))


def read_sheet(crops: NDArray[np.uint8]) -> BoxReadings:
    """What stands in the boxes of one sheet: as :func:`~.read.read_boxes`, but ``crops``
    (N, 64, 64) are all boxes of a sheet, filled in by one person, and the doubtful ones are read
    again.
    """
    first = read_boxes(crops).probabilities
    at = doubtful(first)
    if not len(at):
        return BoxReadings(first, CLASSES)
    found = first.copy()
    found[at] = larger_reader().read_boxes(crops[at]).probabilities
    return BoxReadings(found, CLASSES)


@cache
def larger_reader() -> Reader:
    """The larger network of the package."""
    package = resources.files("sheet_reader.digits")
    return Reader(package / LARGER_WEIGHTS, package / LARGER_CALIBRATION)
