"""Ink in and about a box as plain numbers: how strong its strokes are, whether they leave the box.

Strokes are found by line filters (``line_filters.py``). They take no notice of evenly slanting
light, and what one pixel's noise hides a whole line still shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Array, Flags, Float32, Gray, as_array, as_float32, as_gray
from sheet_reader.vision.crops import inner_slices
from sheet_reader.vision.line_filters import line_answers
from sheet_reader.vision.ranks import medians
from sheet_reader.vision.types import CROP_MARGIN_MM, CROP_PX

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class StrokeEvidence:
    """Of one box: ``stroke`` the darkness (share of paper) of the most line-like place inside,
    ``stroke_noise`` what the filters give where there is no ink (standard deviation, same unit),
    ``leaves_mm`` how far ink that is also inside reaches beyond the frame.
    """

    stroke: float
    stroke_noise: float
    leaves_mm: float


def stroke_evidence(crops: Sequence[Gray], boxes_mm: Array) -> list[StrokeEvidence]:
    """What the levelled ``crops`` (64, 64) of boxes (N, 4: x, y, width, height) show."""
    found = [StrokeEvidence(0.0, 0.0, 0.0)] * len(crops)
    sizes, which = np.unique(boxes_mm[:, 2:].round(3), axis=0, return_inverse=True)
    for number, (width, height) in enumerate(sizes):
        box = (0.0, 0.0, float(width), float(height))
        places = np.flatnonzero(which == number)
        some = np.stack([crops[i] for i in places.tolist()])
        answers = _inside_answers(some, box)
        strokes = answers.max(axis=(1, 2, 3)) / VISION.crops.paper
        spread = medians(np.abs(answers).reshape(len(some), -1))
        noises = spread / VISION.crops.mad / VISION.crops.paper
        leaves = leaving_mm(some, box, strokes).tolist()
        told = zip(places.tolist(), strokes.tolist(), noises.tolist(), leaves, strict=True)
        for i, *evidence in told:
            found[i] = StrokeEvidence(*evidence)
    return found


def _inside_answers(crops: Gray, box_mm: Box) -> Float32:
    """The filters' answers (N, directions, rows, columns) at the insides of boxes of one size."""
    rows, columns = inner_slices(box_mm, VISION.box_ink.inset_mm)
    dark = 255 - crops[:, rows, columns].astype(np.float32)
    size = (max(dark.shape[2] // 2, 1), max(dark.shape[1] // 2, 1))
    halves = np.stack([cv2.resize(d, size, interpolation=cv2.INTER_AREA) for d in dark])
    return line_answers(as_float32(halves), mirrored=True)


def upright_strokes(pieces: Sequence[Float32], px_per_mm: float) -> Array:
    """How dark (N,) the most line-like place of each of ``pieces`` (H, W; 0 paper to 1) is, at
    ``px_per_mm``, by the filters for lines that rather stand than lie.
    """
    factor = CROP_PX / 2 / VISION.box_ink.usual_crop_mm / px_per_mm
    found = np.zeros(len(pieces))
    sizes = [tuple(max(round(side * factor), 1) for side in dark.shape[::-1]) for dark in pieces]
    for size in set(sizes):
        places = [i for i, own in enumerate(sizes) if own == size]
        small = [cv2.resize(pieces[i], size, interpolation=cv2.INTER_AREA) for i in places]
        answers = line_answers(as_float32(np.stack(small)), standing=True)
        found[places] = np.maximum(answers.max(axis=(1, 2, 3)), 0.0)
    return found


def leaving_mm(crops: Gray, box_mm: Box, strokes: Array | Float32) -> Array:
    """How far (mm) ink beyond the frame reaches that goes on inside (N,), for ``crops``
    (N, 64, 64) of boxes of one size with strokes as dark as ``strokes`` (N,; share of paper);
    0 where none leaves the box.
    """
    own = VISION.box_ink
    least = np.maximum(own.faintest, own.leaving_share * as_array(strokes)) * VISION.crops.paper
    rimmed = np.pad(crops, ((0, 0), (1, 1), (0, 0)), mode="reflect")  # crops don't run together
    calm = as_gray(cv2.blur(rimmed.reshape(-1, CROP_PX), (3, 3))).reshape(rimmed.shape)[:, 1:-1]
    ink = calm < VISION.crops.paper - least[:, None, None]
    reach = np.zeros(len(crops))
    for turned, size in ((0, box_mm[2]), (1, box_mm[3]), (2, box_mm[2]), (3, box_mm[3])):
        reach = np.maximum(reach, _beyond_left(np.rot90(ink, -turned, axes=(1, 2)), size))
    return reach


def _beyond_left(ink: Flags, size_mm: float) -> Array:
    """The same at the left edge of each ``ink`` (N, 64, 64), over a width of ``size_mm``."""
    own = VISION.box_ink
    px_per_mm = CROP_PX / (size_mm + 2 * CROP_MARGIN_MM)
    frame = CROP_MARGIN_MM * px_per_mm
    clear = own.frame_mm * px_per_mm
    ends = round(1.6 * frame)  # the corners of the frame are no ink
    outside = ink[:, ends:-ends, : max(round(frame - clear), 1)]
    start = round(frame + clear)
    inside = ink[:, ends:-ends, start : start + max(round(own.frame_mm * px_per_mm), 2)]
    rows = np.ascontiguousarray(inside.any(axis=2).T, dtype=np.uint8)
    near = cv2.dilate(rows, np.ones((2 * own.slant_px + 1, 1), np.uint8)).T > 0
    columns = (outside & near[:, :, None]).sum(axis=1) >= own.least_px
    first = (frame - columns.argmax(axis=1)) / px_per_mm
    return np.where(columns.any(axis=1), first, 0.0)
