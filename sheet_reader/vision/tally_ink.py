"""Tally strokes on their way into a field's first box.

Between the tally space and the first box the sheet leaves a gap without any print. A row of
strokes that runs on into the box has to cross it, with a stroke in the gap or one on the frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from scipy.sparse import csr_matrix

from sheet_reader.numbers import VISION
from sheet_reader.sheet.model import Area, Cell, Page
from sheet_reader.vision.arrays import Array, Float32, Gray, as_array, as_float32
from sheet_reader.vision.box_ink import upright_strokes
from sheet_reader.vision.flatten import FlatPage

Box = tuple[float, float, float, float]


def gap_strokes(page: Page, flat: FlatPage, moved_mm: Array) -> Array:
    """For each box of ``page`` (N,) how dark (share of paper) the most stroke-like place is in the
    gap between its field's tally space and the box; 0 for boxes that no such gap leads to.
    ``moved_mm`` (N, 2) leads from each box to its place on the flat page.
    """
    spaces = {area.field: area for area in page.areas if area.kind == "tally"}
    led = [i for i, cell in enumerate(page.cells) if cell.index == 0 and cell.field in spaces]
    gaps = [_gap(spaces[page.cells[i].field], page.cells[i]) for i in led]
    seen = [_darkness(flat, gap, moved_mm[i]) for i, gap in zip(led, gaps, strict=True)]
    shown = [k for k, dark in enumerate(seen) if min(dark.shape) >= 2]
    found = np.zeros(len(page.cells))
    found[[led[k] for k in shown]] = upright_strokes([seen[k] for k in shown], flat.px_per_mm)
    return found


def edge_strokes(page: Page, crops: Sequence[Gray]) -> Array:
    """For each box of ``page`` (N,), by its crop, how much darker (share of paper) the left side of
    its frame is than the right one, as with an upright stroke that stands on it; 0 for boxes that
    no tally space leads to.
    """
    tallied = {area.field for area in page.areas if area.kind == "tally"}
    led = [i for i, cell in enumerate(page.cells) if cell.index == 0 and cell.field in tallied]
    found = np.zeros(len(page.cells))
    if led:
        found[led] = _darker_left(np.stack([crops[i] for i in led]))
    return found


def _darker_left(crops: Gray) -> Array:
    side, count = VISION.box_ink.edge_px, len(crops)
    dark = 1.0 - crops.reshape(count, -1).astype(np.float32) / VISION.crops.paper
    upright = _sheared_means(crops.shape[1], crops.shape[2]) @ np.ascontiguousarray(dark.T)
    best = upright.reshape(-1, crops.shape[2], count).max(axis=0)
    return as_array(np.maximum(best[:side].max(axis=0) - best[-side:].max(axis=0), 0.0))


@cache
def _sheared_means(height: int, width: int) -> csr_matrix:
    """Takes the pixels of a crop, row by row, to the means of its columns after each of several
    slants: (slants · width, height · width). Between pixels linear, beyond the edge as it ends.
    """
    own = VISION.box_ink
    slants = np.arange(-own.edge_slant_px, own.edge_slant_px + 1, 2)
    rows = np.arange(own.edge_ends_px, height - own.edge_ends_px)
    number, row, column = np.meshgrid(np.arange(len(slants)), rows, np.arange(width), indexing="ij")
    place = column - slants[number] * (row / height - 0.5)
    below = np.floor(place).astype(int)
    weights, sources = [], []
    for at, weight in ((below, below + 1 - place), (below + 1, place - below)):
        weights.append(weight.ravel() / len(rows))
        sources.append((row * width + np.clip(at, 0, width - 1)).ravel())
    target = np.tile((number * width + column).ravel(), 2)
    entries = (np.concatenate(weights).astype(np.float32), (target, np.concatenate(sources)))
    return csr_matrix(entries, shape=(len(slants) * width, height * width))


def _gap(space: Area, cell: Cell) -> Box:
    """Left, top, right, bottom (mm) of what lies free between the tally space and the box."""
    own = VISION.box_ink
    left = space.box_mm[0] + space.box_mm[2] + own.gap_left_mm
    right = cell.box_mm[0] - own.gap_right_mm
    return left, cell.box_mm[1], right, cell.box_mm[1] + cell.box_mm[3]


def _darkness(
    flat: FlatPage, gap_mm: tuple[float, float, float, float], moved_mm: Array
) -> Float32:
    """Darkness (share of paper) within ``gap_mm``, (H, W), as far as it lies on the page."""
    corners = (np.array(gap_mm).reshape(2, 2) + moved_mm) * flat.px_per_mm
    limit = np.array(flat.gray.shape[::-1])
    (left, top), (right, bottom) = np.clip(np.rint(corners).astype(int), 0, limit)
    gray = flat.gray[top:bottom, left:right].astype(np.float32)
    paper = np.maximum(flat.level[top:bottom, left:right].astype(np.float32), 1.0)
    return as_float32(1.0 - gray / paper)
