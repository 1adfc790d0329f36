"""What leaves the room for one sheet: its boxes as crops, what hides them, and the quality."""

from __future__ import annotations

import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Occlusion
from sheet_reader.sheet.page import Page
from sheet_reader.vision.arrays import Array, Flags, as_array, box_corners
from sheet_reader.vision.box_ink import edge_strokes, gap_strokes, stroke_evidence
from sheet_reader.vision.crops import (
    crop_quads,
    cut_crops,
    ink_shares,
    remove_neighbour_ink,
    without_bands,
)
from sheet_reader.vision.findings import BoxView, SheetView
from sheet_reader.vision.flat_page import FlatPage, Pyramid
from sheet_reader.vision.locate import Located
from sheet_reader.vision.marker_groups import MarkerGroup, MarkerPlan
from sheet_reader.vision.quality import glare_share, photo_quality, sharpness


def build_view(
    pyramid: Pyramid, page: Page, plan: MarkerPlan, group: MarkerGroup, located: Located, by: str
) -> SheetView:
    """The sheet as the next room wants it."""
    surface, flat = located.surface, located.flat
    boxes_mm = np.array([c.box_mm for c in page.cells], dtype=np.float64).reshape(-1, 4)
    quads = crop_quads(boxes_mm, located.shift_mm)
    cut = cut_crops(pyramid, surface, flat, quads, located.carried_mm)
    crops = [
        remove_neighbour_ink(crop, cell.box_mm)
        for crop, cell in zip(without_bands(cut, boxes_mm), page.cells, strict=True)
    ]
    strokes = stroke_evidence(crops, boxes_mm)
    ink, noise = ink_shares(crops, boxes_mm)
    corners = np.stack([box_corners(tuple(b)) for b in boxes_mm]) + located.shift_mm[:, None, :]
    corners = surface.to_px(corners.reshape(-1, 2)).reshape(-1, 4, 2)
    sharp = sharpness(pyramid, surface, [plan.corners_mm[m.id] for m in group.markers])
    centres = boxes_mm[:, :2] + boxes_mm[:, 2:] / 2
    blur, contrast = sharp.at(centres)
    contrast = contrast * _clearness(located)
    scale = surface.px_per_mm(centres)
    gap = gap_strokes(page, flat, located.shift_mm + located.carried_mm)
    edge = edge_strokes(page, crops)
    occluded = _occluded(pyramid, located, boxes_mm, corners)
    views = tuple(
        BoxView(
            cell, float(located.error_mm[i]), occluded[i], float(blur[i]), float(contrast[i]),
            float(ink[i]), strokes[i].stroke, strokes[i].stroke_noise, strokes[i].leaves_mm,
            float(gap[i]), float(edge[i]),
            crop=crops[i], corners_px=corners[i], px_per_mm=float(scale[i]),
        )
        for i, cell in enumerate(page.cells)
    )  # fmt: skip
    outline = surface.to_px(box_corners((0.0, 0.0, page.width_mm, page.height_mm)))
    quality = photo_quality(views, outline, pyramid.shape, sharp, glare_share(flat), noise)
    return SheetView(page, views, quality, by, outline)


def _clearness(located: Located) -> Array:
    """Each frame's contrast (N,) against that of the sheet's other frames, 0 to 1."""
    middle = np.median(located.gains, axis=1)
    usual = _usual(middle, located.confirmed)
    return as_array(np.clip(middle / max(usual, 1e-6), 0.0, 1.0))


def _usual(gains: Array, confirmed: Flags) -> float:
    """Median contrast of the frames that are where they should be; 1 where there are none."""
    return float(np.median(gains[confirmed])) if confirmed.any() else 1.0


def _occluded(
    pyramid: Pyramid, located: Located, boxes_mm: Array, corners: Array
) -> list[Occlusion]:
    """What hides each box."""
    own, gains, there = VISION.view, located.gains, located.confirmed
    usual = _usual(gains, there)
    sizes_mm = boxes_mm[:, 2:]
    centres = boxes_mm[:, :2] + sizes_mm / 2
    height, width = pyramid.shape
    outside = ((corners < 0) | (corners > (width - 1, height - 1))).any(axis=(1, 2))
    level = _corner_levels(located.flat, centres + located.carried_mm, sizes_mm)
    lost = gains < own.lost * usual
    paper = _paper_near(level, centres, there, lost.sum(axis=1) > 0)
    low, second = np.sort(gains, axis=1)[:, :2].T / max(usual, 1e-6)
    torn = (low < own.gone) & (second < own.torn)
    bright = (lost & (level >= VISION.quality.saturated - 3)).sum(axis=1)
    dark = (lost & (level < own.covered_level * paper[:, None])).sum(axis=1)
    covered = (dark > 0) | (there & (torn | (lost.sum(axis=1) >= 2)))
    hidden = [  # the first that holds
        (outside, Occlusion.OUTSIDE),
        ((bright > 0) & (bright >= dark), Occlusion.SATURATED),
        (covered, Occlusion.COVERED),
        (~there, Occlusion.NO_FRAME),
    ]
    return [
        next((why for flags, why in hidden if flags[i]), Occlusion.NONE)
        for i in range(len(centres))
    ]


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
        apart = np.linalg.norm(centres - centres[i], axis=1)
        near = confirmed & (apart < VISION.view.paper_radius_mm)
        if near.any():
            paper[i] = np.median(own[near])
    return paper
