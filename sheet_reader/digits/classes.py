"""What leaves the digits room: the classes of a box, and its probabilities of each."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

DIGIT_CLASSES = ("0", "1", "2", "3", "4", "5", "6", "7", "8", "9")
EMPTY = "empty"
STRUCK = "struck"
SEVERAL = "several"
OTHER = "other"
CLASSES = (*DIGIT_CLASSES, EMPTY, STRUCK, SEVERAL, OTHER)
"""Ten digits; an empty box; struck out, scribbled or blackened; several digits; not a digit."""


class BoxReadings(NamedTuple):
    """``probabilities`` float64 (N, K), rows sum to 1; ``classes`` the K names, ``CLASSES``."""

    probabilities: NDArray[np.float64]
    classes: tuple[str, ...]
