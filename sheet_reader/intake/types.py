"""Values that leave the intake room."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Picture:
    """A decoded upright picture. ``gray`` is uint8 (height, width), 0 black, 255 white;
    ``sha256`` the hash of the file's bytes; ``name`` what a person calls it; ``frame`` the number
    of the page within a PDF or TIFF, from 0.
    """

    gray: NDArray[np.uint8]
    sha256: str
    name: str
    frame: int = 0


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A file that gives no picture; ``reason`` in a volunteer's words."""

    name: str
    reason: str
    sha256: str = ""
