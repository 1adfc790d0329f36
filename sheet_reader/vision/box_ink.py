"""Ink in and about a box as plain numbers: how strong its strokes are, whether they leave the box.

Strokes are found by line filters: across the line a Gaussian's second derivative, along it a few
millimetres, in twelve directions (a matched filter for a line in white noise; Canny, IEEE Trans.
PAMI 8:679, 1986, for the detector of ridges). The filters take no notice of evenly slanting light,
and what one pixel's noise hides a whole line still shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from sheet_reader.vision.arrays import Array, Flags, Float32, Gray, as_array, as_float32, as_gray
from sheet_reader.vision.crops import inner_slices
from sheet_reader.vision.parameters import VISION
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


@cache
def _line_filters() -> tuple[Float32, ...]:
    """Kernels for crops at half their size; a line as wide as a pen's gives its own darkness."""
    own = VISION.box_ink
    reach = own.filter_reach_px
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(float)
    kernels = []
    for turn in np.arange(own.directions) * np.pi / own.directions:
        along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
        spread = (across / own.line_sd_px) ** 2
        kernel = (1 - spread) * np.exp(-spread / 2) * (np.abs(along) <= own.line_px / 2)
        kernel -= kernel.mean()
        line = np.clip(own.line_sd_px + 0.25 - np.abs(across), 0, 1)
        kernels.append(as_float32(kernel / (kernel * line).sum()))
    return tuple(kernels)


def stroke_evidence(crops: Sequence[Gray], boxes_mm: Array) -> list[StrokeEvidence]:
    """What the levelled ``crops`` (64, 64) of boxes (N, 4: x, y, width, height) show."""
    found = [StrokeEvidence(0.0, 0.0, 0.0)] * len(crops)
    sizes, which = np.unique(boxes_mm[:, 2:].round(3), axis=0, return_inverse=True)
    for number, (width, height) in enumerate(sizes):
        box = (0.0, 0.0, float(width), float(height))
        places = np.flatnonzero(which == number)
        some = np.stack([crops[i] for i in places.tolist()])
        answers = _line_answers(some, box)
        strokes = answers.max(axis=(1, 2, 3)) / VISION.crops.paper
        spread = np.median(np.abs(answers), axis=(1, 2, 3))
        noises = spread / VISION.crops.mad / VISION.crops.paper
        leaves = leaving_mm(some, box, strokes).tolist()
        told = zip(places.tolist(), strokes.tolist(), noises.tolist(), leaves, strict=True)
        for i, *evidence in told:
            found[i] = StrokeEvidence(*evidence)
    return found


def _line_answers(crops: Gray, box_mm: Box) -> Float32:
    """The filters' answers (N, directions, rows, columns) at the boxes' insides; all boxes are
    filtered as one tall picture, with room between them.
    """
    reach = VISION.box_ink.filter_reach_px
    rows, columns = inner_slices(box_mm, VISION.box_ink.inset_mm)
    tiles = []
    for crop in crops:
        dark = 255 - crop[rows, columns].astype(np.float32)
        size = (max(dark.shape[1] // 2, 1), max(dark.shape[0] // 2, 1))
        half = cv2.resize(dark, size, interpolation=cv2.INTER_AREA)
        tiles.append(cv2.copyMakeBorder(half, reach, reach, reach, reach, cv2.BORDER_REFLECT))
    high, wide = tiles[0].shape
    tall = np.vstack(tiles)
    answers = [cv2.filter2D(tall, -1, k).reshape(-1, high, wide) for k in _line_filters()]
    return as_float32(np.stack(answers, axis=1)[:, :, reach:-reach, reach:-reach])


def upright_stroke(dark: Float32, px_per_mm: float) -> float:
    """How dark the most line-like place of ``dark`` (H, W; 0 paper to 1) is, at ``px_per_mm``,
    by the filters for lines that rather stand than lie.
    """
    factor = CROP_PX / 2 / VISION.box_ink.usual_crop_mm / px_per_mm
    size = tuple(max(round(side * factor), 1) for side in dark.shape[::-1])
    small = cv2.resize(dark, (size[0], size[1]), interpolation=cv2.INTER_AREA)
    turns = range(VISION.box_ink.directions)
    standing = [k for k, turn in zip(_line_filters(), turns, strict=True)
                if abs(2 * turn - len(turns)) <= len(turns) / 3]  # fmt: skip
    answers = [cv2.filter2D(small, -1, k, borderType=cv2.BORDER_REPLICATE) for k in standing]
    return max(0.0, float(np.max(answers)))


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
