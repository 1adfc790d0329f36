"""What leaves the room for one sheet: its boxes as crops, what hides them, and the quality."""

from __future__ import annotations

import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Occlusion
from sheet_reader.sheet.model import Page
from sheet_reader.vision.arrays import Array, Flags, as_array
from sheet_reader.vision.bands import without_bands
from sheet_reader.vision.box_ink import stroke_evidence
from sheet_reader.vision.crops import crop_quads, cut_crops, ink_shares, remove_neighbour_ink
from sheet_reader.vision.flatten import FlatPage, Pyramid
from sheet_reader.vision.grouping import Group, MarkerPlan
from sheet_reader.vision.locate import Located
from sheet_reader.vision.quality import Ground, glare_share, photo_quality, sharpness
from sheet_reader.vision.tally_ink import edge_strokes, gap_strokes
from sheet_reader.vision.template import box_corners
from sheet_reader.vision.types import BoxView, SheetView


def build_view(
    pyramid: Pyramid, page: Page, plan: MarkerPlan, group: Group, located: Located, by: str
) -> SheetView:
    """The sheet as the next room wants it."""
    boxes_mm = np.array([c.box_mm for c in page.cells], dtype=np.float64).reshape(-1, 4)
    quads = crop_quads(boxes_mm, located.shift_mm)
    cut = cut_crops(pyramid, located.surface, located.flat, quads, located.carried_mm)
    even = without_bands(cut, boxes_mm)
    crops = [
        remove_neighbour_ink(crop, cell.box_mm) for crop, cell in zip(even, page.cells, strict=True)
    ]
    strokes = stroke_evidence(crops, boxes_mm)
    gap = gap_strokes(page, located.flat, located.shift_mm + located.carried_mm)
    edge = edge_strokes(page, crops)
    corners = _corners(located, boxes_mm)
    ink, noise = ink_shares(crops, boxes_mm)
    sharp = sharpness(pyramid, located.surface, [plan.corners_mm[m.id] for m in group.markers])
    centres = boxes_mm[:, :2] + boxes_mm[:, 2:] / 2
    blur, contrast = sharp.at(centres)
    contrast = contrast * _clearness(located)
    scale = located.surface.px_per_mm(centres)
    occluded = _occluded(pyramid, located, boxes_mm, corners)
    views = tuple(
        BoxView(
            cell, crops[i], corners[i], float(located.error_mm[i]), occluded[i], float(blur[i]),
            float(contrast[i]), float(scale[i]), float(ink[i]), strokes[i].stroke,
            strokes[i].stroke_noise, strokes[i].leaves_mm, float(gap[i]), float(edge[i]),
        )
        for i, cell in enumerate(page.cells)
    )  # fmt: skip
    outline = located.surface.to_px(box_corners((0.0, 0.0, page.width_mm, page.height_mm)))
    ground = Ground(glare_share(located.flat), noise)
    quality = photo_quality(views, outline, pyramid.shape, sharp, ground)
    return SheetView(page, views, quality, by, outline)


def _clearness(located: Located) -> Array:
    """Each frame's contrast (N,) against that of the sheet's other frames, 0 to 1."""
    middle = np.median(located.gains, axis=1)
    typical = float(np.median(middle[located.confirmed])) if located.confirmed.any() else 1.0
    return as_array(np.clip(middle / max(typical, 1e-6), 0.0, 1.0))


def _corners(located: Located, boxes_mm: Array) -> Array:
    """Corners (N, 4, 2) of the boxes in the picture."""
    quads = np.stack([box_corners(tuple(b)) for b in boxes_mm]) + located.shift_mm[:, None, :]
    return located.surface.to_px(quads.reshape(-1, 2)).reshape(-1, 4, 2)


def _occluded(
    pyramid: Pyramid, located: Located, boxes_mm: Array, corners: Array
) -> list[Occlusion]:
    """What hides each box."""
    sizes_mm = boxes_mm[:, 2:]
    centres = boxes_mm[:, :2] + sizes_mm / 2
    height, width = pyramid.shape
    first, last = corners.min(axis=1), corners.max(axis=1)
    outside = (first < 0).any(axis=1) | (last > (width - 1, height - 1)).any(axis=1)
    level = _corner_levels(located.flat, centres + located.carried_mm, sizes_mm)
    typical = float(np.median(located.gains[located.confirmed])) if located.confirmed.any() else 1.0
    lost = located.gains < VISION.view.lost * typical
    paper = _paper_near(level, centres, located.confirmed, lost.sum(axis=1) > 0)
    low, second = np.sort(located.gains, axis=1)[:, :2].T / max(typical, 1e-6)
    torn = (low < VISION.view.gone) & (second < VISION.view.torn)
    bright = lost & (level >= VISION.quality.saturated - 3)
    dark = lost & (level < VISION.view.covered_level * paper[:, None])
    reasons = []
    for i in range(len(centres)):
        if outside[i]:
            reasons.append(Occlusion.OUTSIDE)
        elif bright[i].any() and bright[i].sum() >= dark[i].sum():
            reasons.append(Occlusion.SATURATED)
        elif dark[i].any() or (located.confirmed[i] and (torn[i] or lost[i].sum() >= 2)):
            reasons.append(Occlusion.COVERED)
        else:
            reasons.append(Occlusion.NONE if located.confirmed[i] else Occlusion.NO_FRAME)
    return reasons


def _corner_levels(flat: FlatPage, centres: Array, size_mm: Array) -> Array:
    """Brightness (N, 4) of the ground at the boxes' corners, clockwise from top left."""
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
    points = centres[:, None] + signs[None] * size_mm[:, None]
    limit = np.array(flat.level.shape)[::-1] - 1
    at = np.clip((points * flat.px_per_mm).astype(int), 0, limit)
    return as_array(flat.level[at[..., 1], at[..., 0]])


def _paper_near(level: Array, centres: Array, confirmed: Flags, wanted: Flags) -> Array:
    """The paper's brightness (N,) at confirmed boxes around each box that is ``wanted``."""
    if not confirmed.any():
        return np.zeros(len(centres))
    own = np.median(level, axis=1)
    paper = np.full(len(centres), float(np.median(own[confirmed])))
    for i in np.flatnonzero(wanted):
        near = confirmed & (
            np.linalg.norm(centres - centres[i], axis=1) < VISION.view.paper_radius_mm
        )
        if near.any():
            paper[i] = np.median(own[near])
    return paper
