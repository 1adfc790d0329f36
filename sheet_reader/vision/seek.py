"""Markers that the first pass missed, sought where the others say they must be."""

from __future__ import annotations

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Array, as_gray
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.grouping import Group, MarkerPlan, agreeing, plane
from sheet_reader.vision.markers import (
    SHEET_DICTIONARY,
    SeenMarker,
    detect_markers,
)
from sheet_reader.vision.surface import apply_homography


def seek_missing(pyramid: Pyramid, plan: MarkerPlan, group: Group) -> Group:
    """The group with every further marker of its plan that can be found."""
    have = {m.id for m in group.markers}
    if len(have) >= VISION.seek.enough:
        return group
    found: list[SeenMarker] = []
    for number, corners_mm in plan.corners_mm.items():
        if number not in have:
            expected = apply_homography(group.homography, corners_mm)
            found += _look(pyramid, expected, number)
    if not found:
        return group
    members = agreeing(plan, group.homography, [*group.markers, *found])
    matrix = plane(plan, members)
    if matrix is None or len(members) <= len(group.markers):
        return group
    return Group(group.plan, members, matrix)


def _look(pyramid: Pyramid, expected: Array, number: int) -> list[SeenMarker]:
    """Markers of this ``number`` near the place where one is ``expected`` (4, 2) px."""
    side = float(np.linalg.norm(expected - np.roll(expected, 1, axis=0), axis=1).mean())
    height, width = pyramid.shape
    middle = expected.mean(axis=0)
    outside = (middle < 0).any() or (middle > (width - 1, height - 1)).any()
    if not np.isfinite(side) or outside or side < 8 or side > max(height, width):
        return []
    depth = pyramid.depth_for(side, VISION.seek.side_px)
    factor = 2.0**depth
    low = ((expected.min(axis=0) - VISION.seek.margin * side) / factor).astype(int)
    high = ((expected.max(axis=0) + VISION.seek.margin * side) / factor).astype(int) + 1
    level = pyramid.level(depth)
    x0, y0 = np.maximum(low, 0)
    piece = level[y0 : max(high[1], 0), x0 : max(high[0], 0)]
    if min(piece.shape) < side / factor:
        return []
    even = as_gray(cv2.createCLAHE(clipLimit=4.0, tileGridSize=(2, 2)).apply(piece.copy()))
    seen = detect_markers(even, SHEET_DICTIONARY, VISION.markers.correction, (number,))
    offset = np.array([x0, y0], dtype=np.float64)
    return [SeenMarker(m.id, (m.corners_px + offset + 0.5) * factor - 0.5) for m in seen]
