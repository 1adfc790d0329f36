"""What leaves the room for one sheet: its boxes as crops, what hides them, and the quality."""

from __future__ import annotations

import numpy as np

from sheet_reader.sheet.model import Page
from sheet_reader.vision.arrays import Array, Flags, Gray
from sheet_reader.vision.crops import crop_quads, cut_crops, drop_strangers, ink_share
from sheet_reader.vision.flatten import FlatPage, Pyramid
from sheet_reader.vision.grouping import Group, MarkerPlan
from sheet_reader.vision.locate import Located
from sheet_reader.vision.quality import burnt_boxes, glare_share, photo_quality, sharpness
from sheet_reader.vision.surface import Surface
from sheet_reader.vision.template import box_corners
from sheet_reader.vision.types import BoxView, SheetView

_BURNT_SHARE = 0.5
_COVERED_LEVEL = 0.72
_COVERED_REACH_MM = 45.0


def build_view(
    pyramid: Pyramid, page: Page, plan: MarkerPlan, group: Group, located: Located, by: str
) -> SheetView:
    """The sheet as the next room wants it."""
    boxes_mm = np.array([c.box_mm for c in page.cells], dtype=np.float64).reshape(-1, 4)
    quads = crop_quads(boxes_mm, located.shift_mm)
    crops, gray = cut_crops(pyramid, located.surface, located.flat, quads, located.carried_mm)
    corners = _corners(located, boxes_mm)
    sharp = sharpness(pyramid, located.surface, [plan.corners_mm[m.id] for m in group.markers])
    centres = boxes_mm[:, :2] + boxes_mm[:, 2:] / 2
    blur, contrast = sharp.at(centres)
    scale = located.surface.px_per_mm(centres)
    hidden = _hidden(pyramid, located, centres, corners, gray)
    views = tuple(
        BoxView(
            cell, drop_strangers(crop, cell.box_mm), corners[i], float(located.error_mm[i]),
            hidden[i], float(blur[i]), float(contrast[i]), float(scale[i]),
            float(ink_share(crop[None], cell.box_mm)[0]),
        )
        for i, (cell, crop) in enumerate(zip(page.cells, crops, strict=True))
    )  # fmt: skip
    outline = _outline(located.surface, page)
    quality = photo_quality(views, outline, pyramid.shape, sharp, glare_share(located.flat))
    return SheetView(page, views, quality, by, outline)


def _corners(located: Located, boxes_mm: Array) -> Array:
    """Corners (N, 4, 2) of the boxes in the picture."""
    quads = np.stack([box_corners(tuple(b)) for b in boxes_mm]) + located.shift_mm[:, None, :]
    return located.surface.to_px(quads.reshape(-1, 2)).reshape(-1, 4, 2)


def _outline(surface: Surface, page: Page) -> Array:
    return surface.to_px(box_corners((0.0, 0.0, page.width_mm, page.height_mm)))


def _hidden(
    pyramid: Pyramid, located: Located, centres: Array, corners: Array, gray: Gray
) -> list[str]:
    """What hides each box, "" where nothing does."""
    height, width = pyramid.shape
    flat = corners.reshape(len(corners), -1, 2)
    low, high = flat.min(axis=1), flat.max(axis=1)
    outside = (low < 0).any(axis=1) | (high > (width - 1, height - 1)).any(axis=1)
    burnt = burnt_boxes(gray) > _BURNT_SHARE
    dark = _covered(located.flat, centres, located.confirmed)
    reasons = []
    for i in range(len(centres)):
        if outside[i]:
            reasons.append("outside the picture")
        elif located.confirmed[i]:
            reasons.append("")
        elif burnt[i]:
            reasons.append("burnt out")
        else:
            reasons.append("covered" if dark[i] else "its printed frame was not found")
    return reasons


def _covered(flat: FlatPage, centres: Array, confirmed: Flags) -> Flags:
    """Whether the ground at each box is darker than the paper at confirmed boxes around it."""
    at = np.clip((centres * flat.px_per_mm).astype(int), 0, np.array(flat.level.shape)[::-1] - 1)
    level = flat.level[at[:, 1], at[:, 0]].astype(np.float64)
    covered = np.zeros(len(centres), dtype=bool)
    for i in np.flatnonzero(~confirmed):
        near = np.linalg.norm(centres - centres[i], axis=1) < _COVERED_REACH_MM
        paper = level[near & confirmed]
        covered[i] = paper.size > 0 and level[i] < _COVERED_LEVEL * float(np.median(paper))
    return covered
