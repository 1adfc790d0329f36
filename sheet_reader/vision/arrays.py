"""Array types of this room, and OpenCV's results brought to them (without a copy)."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Gray = NDArray[np.uint8]
"""Grey picture (H, W), 0 black to 255 white."""
Float32 = NDArray[np.float32]
Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def as_gray(picture: ArrayLike) -> Gray:
    """``picture`` as uint8."""
    return np.asarray(picture, dtype=np.uint8)


def as_float32(values: ArrayLike) -> Float32:
    """``values`` as float32."""
    return np.asarray(values, dtype=np.float32)


def as_array(values: ArrayLike) -> Array:
    """``values`` as float64."""
    return np.asarray(values, dtype=np.float64)


def look_up(picture: Gray, places: Float32, border: int = cv2.BORDER_CONSTANT) -> Gray:
    """``picture`` at ``places`` float32 (H, W, 2), x and y, between pixels linearly; beyond the
    edge 0, or what OpenCV's ``border`` says.
    """
    seen = cv2.remap(picture, places, None, cv2.INTER_LINEAR, borderMode=border)  # type: ignore[call-overload]
    return as_gray(seen)
