"""Tally strokes on their way into a field's first box.

Between the tally space and the first box the sheet leaves a gap without any print. A row of
strokes that runs on into the box has to cross it, with a stroke in the gap or one on the frame.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from sheet_reader.sheet.model import Area, Cell, Page
from sheet_reader.vision.arrays import Array, Gray, as_float32
from sheet_reader.vision.box_ink import upright_stroke
from sheet_reader.vision.flatten import FlatPage
from sheet_reader.vision.parameters import VISION


def gap_strokes(page: Page, flat: FlatPage, moved_mm: Array) -> Array:
    """For each box of ``page`` (N,) how dark (share of paper) the most stroke-like place is in the
    gap between its field's tally space and the box; 0 for boxes that no such gap leads to.
    ``moved_mm`` (N, 2) leads from each box to its place on the flat page.
    """
    spaces = {area.field: area for area in page.areas if area.kind == "tally"}
    found = np.zeros(len(page.cells))
    for i, cell in enumerate(page.cells):
        space = spaces.get(cell.field)
        if space is not None and cell.index == 0:
            found[i] = _stroke(flat, _gap(space, cell), moved_mm[i])
    return found


def edge_strokes(page: Page, crops: Sequence[Gray]) -> Array:
    """For each box of ``page`` (N,), by its crop, how much darker (share of paper) the left side of
    its frame is than the right one, as with an upright stroke that stands on it; 0 for boxes that
    no tally space leads to.
    """
    tallied = {area.field for area in page.areas if area.kind == "tally"}
    found = np.zeros(len(page.cells))
    for i, cell in enumerate(page.cells):
        if cell.index == 0 and cell.field in tallied:
            found[i] = _darker_left(crops[i])
    return found


def _darker_left(crop: Gray) -> float:
    own = VISION.box_ink
    dark = as_float32(1.0 - crop.astype(np.float32) / VISION.crops.paper)
    height, side = dark.shape[0], own.edge_px
    best = np.full(dark.shape[1], -np.inf, np.float32)
    for slant in range(-own.edge_slant_px, own.edge_slant_px + 1, 2):
        shear = np.array([[1.0, slant / height, -slant / 2], [0.0, 1.0, 0.0]], np.float32)
        upright = cv2.warpAffine(dark, shear, dark.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        rows = upright[own.edge_ends_px : height - own.edge_ends_px]
        best = np.maximum(best, rows.mean(axis=0))
    return max(0.0, float(best[:side].max() - best[-side:].max()))


def _gap(space: Area, cell: Cell) -> tuple[float, float, float, float]:
    """Left, top, right, bottom (mm) of what lies free between the tally space and the box."""
    own = VISION.box_ink
    left = space.box_mm[0] + space.box_mm[2] + own.gap_left_mm
    right = cell.box_mm[0] - own.gap_right_mm
    return left, cell.box_mm[1], right, cell.box_mm[1] + cell.box_mm[3]


def _stroke(flat: FlatPage, gap_mm: tuple[float, float, float, float], moved_mm: Array) -> float:
    """Darkness of the most stroke-like place within ``gap_mm``."""
    corners = (np.array(gap_mm).reshape(2, 2) + moved_mm) * flat.px_per_mm
    limit = np.array(flat.gray.shape[::-1])
    (left, top), (right, bottom) = np.clip(np.rint(corners).astype(int), 0, limit)
    if right - left < 2 or bottom - top < 2:
        return 0.0
    gray = flat.gray[top:bottom, left:right].astype(np.float32)
    paper = np.maximum(flat.level[top:bottom, left:right].astype(np.float32), 1.0)
    return upright_stroke(as_float32(1.0 - gray / paper), flat.px_per_mm)
