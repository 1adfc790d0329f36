"""Pictures of fields: packed for the record, and cut out of a photo with what lies around."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.record.parameters import RECORD
from sheet_reader.vision.types import CROP_PX

CONTEXT_PX_PER_MM = RECORD.context_px_per_mm
CONTEXT_LEFT_MM = RECORD.context_left_mm
CONTEXT_RIGHT_MM = RECORD.context_right_mm
CONTEXT_ABOVE_MM = RECORD.context_above_mm
CONTEXT_BELOW_MM = RECORD.context_below_mm
CONTEXT_LONGEST_PX = RECORD.context_longest_px

Corners = Sequence[Sequence[Sequence[float]]]


def png_of(gray: NDArray[np.uint8]) -> bytes:
    """A grey picture, uint8 (height, width), as PNG bytes."""
    done, data = cv2.imencode(".png", gray)
    return data.tobytes() if done else b""


def pack_boxes(crops: Sequence[NDArray[np.uint8]]) -> bytes:
    """Crops, each uint8 (64, 64), side by side as one PNG; b"" for none."""
    return png_of(np.hstack([np.ascontiguousarray(c) for c in crops])) if len(crops) else b""


def unpack_boxes(data: bytes) -> NDArray[np.uint8]:
    """The crops packed by :func:`pack_boxes`, uint8 (n, 64, 64)."""
    if not data:
        return np.zeros((0, CROP_PX, CROP_PX), dtype=np.uint8)
    strip = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_GRAYSCALE)
    if strip is None or strip.shape[0] != CROP_PX or strip.shape[1] % CROP_PX:
        return np.zeros((0, CROP_PX, CROP_PX), dtype=np.uint8)
    count = strip.shape[1] // CROP_PX
    return np.stack(np.split(np.asarray(strip, dtype=np.uint8), count, axis=1))


def context_png(
    gray: NDArray[np.uint8], corners_px: Corners, boxes_mm: Sequence[Sequence[float]]
) -> bytes:
    """The surroundings of a field, laid flat, as PNG.

    ``gray`` uint8 (height, width) is the photo; ``corners_px`` holds four x, y per box, clockwise
    from the printed top left; ``boxes_mm`` x, y, width, height of the same boxes on the page.
    Gives b"" where the corners make no sense.
    """
    if not len(corners_px):
        return b""
    seen = np.asarray(corners_px, dtype=np.float64).reshape(-1, 2)
    printed = np.array(
        [[[x, y], [x + w, y], [x + w, y + h], [x, y + h]] for x, y, w, h in boxes_mm]
    ).reshape(-1, 2)
    if seen.shape != printed.shape or not np.isfinite(seen).all():
        return b""
    left, top = np.subtract(printed.min(axis=0), (CONTEXT_LEFT_MM, CONTEXT_ABOVE_MM))
    right, bottom = np.add(printed.max(axis=0), (CONTEXT_RIGHT_MM, CONTEXT_BELOW_MM))
    scale = min(CONTEXT_PX_PER_MM, CONTEXT_LONGEST_PX / max(right - left, bottom - top))
    target = (printed - (left, top)) * scale
    homography, _ = cv2.findHomography(seen, target)
    if homography is None:
        return b""
    size = (round((right - left) * scale), round((bottom - top) * scale))
    flat = cv2.warpPerspective(gray, homography, size, borderValue=255)
    return png_of(_levelled(np.asarray(flat, dtype=np.uint8)))


def _levelled(gray: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The picture with its paper light and its ink dark, for the eye only."""
    dark, light = np.percentile(gray, (0.5, 90.0))
    scale = 235.0 / max(float(light - dark), 25.0)
    levelled: NDArray[np.float64] = np.clip((gray - dark) * scale, 0, 255)
    return levelled.astype(np.uint8)
