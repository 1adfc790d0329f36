"""Pictures of fields: packed for the record, and cut out of a photo with what lies around."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import RECORD
from sheet_reader.vision.findings import CROP_PX

CONTEXT_PX_PER_MM = RECORD.context_px_per_mm
CONTEXT_LEFT_MM = RECORD.context_left_mm
CONTEXT_RIGHT_MM = RECORD.context_right_mm
CONTEXT_ABOVE_MM = RECORD.context_above_mm
CONTEXT_BELOW_MM = RECORD.context_below_mm
CONTEXT_LONGEST_PX = RECORD.context_longest_px

HATCH_PX, HATCH_DARK, HATCH_LIGHT = 12, 150, 215
"""Stripes where the picture shows nothing, so that it is not taken for blank paper."""

Corners = Sequence[Sequence[Sequence[float]]]
Boxes = Sequence[Sequence[float]]


@dataclass(frozen=True, slots=True)
class FieldImages:
    """What a person looks at: ``boxes`` uint8 (n, 64, 64), leftmost first, and ``context_png``,
    the place around the field as PNG bytes (b"" where it cannot be had), in which ``close`` (left,
    top, right, bottom in px) are its boxes with half a box around.
    """

    boxes: NDArray[np.uint8]
    context_png: bytes
    close: tuple[int, int, int, int] | None = None


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
    gray: NDArray[np.uint8], corners_px: Corners, boxes_mm: Boxes
) -> bytes:
    """The surroundings of a field, laid flat, as PNG; hatched where they lie outside the picture.

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
    (left, top, right, bottom), scale = _around(boxes_mm)
    target = (printed - (left, top)) * scale
    homography, _ = cv2.findHomography(seen, target)
    if homography is None:
        return b""
    size = (round((right - left) * scale), round((bottom - top) * scale))
    return png_of(laid_flat(gray, np.asarray(homography, np.float64), size))


def _around(boxes_mm: Boxes) -> tuple[tuple[float, float, float, float], float]:
    """The place shown around boxes (left, top, right, bottom in mm), and its px per mm."""
    x, y, w, h = np.array(boxes_mm, np.float64).T
    left, top = float(x.min()) - CONTEXT_LEFT_MM, float(y.min()) - CONTEXT_ABOVE_MM
    right = float((x + w).max()) + CONTEXT_RIGHT_MM
    bottom = float((y + h).max()) + CONTEXT_BELOW_MM
    longest = max(right - left, bottom - top)
    return (left, top, right, bottom), min(CONTEXT_PX_PER_MM, CONTEXT_LONGEST_PX / longest)


def close_up(boxes_mm: Boxes) -> tuple[int, int, int, int]:
    """Where in the picture of :func:`context_png` the boxes lie with half a box around: left, top,
    right, bottom in px.
    """
    (left, top, _, _), scale = _around(boxes_mm)
    x, y, w, h = np.array(boxes_mm, np.float64).T
    half_w, half_h = float(w.max()) / 2, float(h.max()) / 2
    edges = (
        float(x.min()) - half_w - left,
        float(y.min()) - half_h - top,
        float((x + w).max()) + half_w - left,
        float((y + h).max()) + half_h - top,
    )
    found = [round(edge * scale) for edge in edges]
    return max(found[0], 0), max(found[1], 0), found[2], found[3]


def laid_flat(
    gray: NDArray[np.uint8], homography: NDArray[np.float64], size: tuple[int, int]
) -> NDArray[np.uint8]:
    """The part of ``gray`` that ``homography`` takes to a picture of ``size`` (width, height), with
    light paper and dark ink; hatched where ``gray`` shows nothing.
    """
    flat = np.asarray(cv2.warpPerspective(gray, homography, size, borderValue=255), np.uint8)
    there = np.asarray(cv2.warpPerspective(np.ones_like(gray), homography, size)) > 0
    if not there.any():
        return _hatch(size)
    levelled = _levelled(flat, flat[there])
    return np.where(there, levelled, _hatch(size)).astype(np.uint8)


def _hatch(size: tuple[int, int]) -> NDArray[np.uint8]:
    across = np.add.outer(np.arange(size[1]), np.arange(size[0])) // HATCH_PX % 2
    return np.where(across == 0, HATCH_DARK, HATCH_LIGHT).astype(np.uint8)


def _levelled(gray: NDArray[np.uint8], seen: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The picture with its paper light and its ink dark, for the eye only; ``seen`` are the greys
    that come from the photo.
    """
    dark, light = np.percentile(seen, (0.5, 90.0))
    scale = 235.0 / max(float(light - dark), 25.0)
    levelled: NDArray[np.float64] = np.clip(235.0 - (light - gray) * scale, 0, 255)
    return levelled.astype(np.uint8)
