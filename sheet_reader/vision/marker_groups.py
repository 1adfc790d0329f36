"""Which markers belong to one sheet: by whether one plane explains where they are."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.sheet.page import Marker
from sheet_reader.vision.arrays import Array, as_array
from sheet_reader.vision.flat_page import Pyramid
from sheet_reader.vision.markers import (
    SHEET_DICTIONARY,
    SeenMarker,
    detect_markers,
    levelled,
    mean_side,
)
from sheet_reader.vision.surface import apply_homography

Markers = tuple[SeenMarker, ...]


@dataclass(frozen=True, slots=True)
class MarkerPlan:
    """Where the markers of one kind of page are printed: ``corners_mm`` by id, (4, 2) each."""

    corners_mm: dict[int, Array]
    diagonal_mm: float

    @staticmethod
    def of(markers: tuple[Marker, ...]) -> MarkerPlan:
        """The plan of a page's markers."""
        corners = {m.id: np.asarray(m.corners_mm, dtype=np.float64) for m in markers}
        every = np.concatenate(list(corners.values())) if corners else np.zeros((1, 2))
        return MarkerPlan(corners, float(np.hypot(*np.ptp(every, axis=0))))

    def corners_of(self, markers: Sequence[SeenMarker]) -> tuple[Array, Array]:
        """All corners of ``markers``: on the page in mm and in the picture in px, (N, 2) each."""
        page = np.concatenate([self.corners_mm[m.id] for m in markers])
        return page, np.concatenate([m.corners_px for m in markers])


def ids_of(plans: tuple[MarkerPlan, ...]) -> tuple[int, ...]:
    """The ids of all markers of the plans, in rising order."""
    return tuple(sorted({number for plan in plans for number in plan.corners_mm}))


@dataclass(frozen=True, slots=True)
class MarkerGroup:
    """Markers of one sheet and the plane (3 × 3, mm to px) through them; ``plan`` is the number
    of the plan that fits.
    """

    plan: int
    markers: Markers
    homography: Array


def plane(plan: MarkerPlan, markers: Markers) -> Array | None:
    """Least-squares homography from millimetres to pixels through all corners, or None."""
    page, picture = plan.corners_of(markers)
    matrix, _ = cv2.findHomography(page, picture, 0)
    if matrix is None or not np.isfinite(matrix).all():
        return None
    seen = apply_homography(as_array(matrix), page)
    return as_array(matrix) if np.isfinite(seen).all() and np.linalg.det(matrix) > 0 else None


def agreeing(plan: MarkerPlan, matrix: Array, free: list[SeenMarker]) -> Markers:
    """The markers that lie where the plane puts them, the nearest one of each id."""
    own = VISION.grouping
    best: dict[int, tuple[float, SeenMarker]] = {}
    for marker in free:
        page = plan.corners_mm.get(marker.id)
        if page is None:
            continue
        expected = apply_homography(matrix, page)
        side = mean_side(expected)
        allowed = own.tolerance * plan.diagonal_mm * side / np.linalg.norm(page[0] - page[1])
        miss = float(np.linalg.norm(expected - marker.corners_px, axis=1).mean())
        size = marker.module_px * 8 / max(side, 1e-6)
        a, b = (c[1] + c[2] - c[0] - c[3] for c in (expected, marker.corners_px))
        cosine = float(a @ b / max(np.linalg.norm(a) * np.linalg.norm(b), 1e-9))
        fits = miss <= allowed and own.size_range[0] < size < own.size_range[1] and cosine > 0.8
        if fits and (marker.id not in best or miss < best[marker.id][0]):
            best[marker.id] = miss, marker
    return tuple(marker for _, marker in best.values())


def _grow(
    plan: MarkerPlan, seed: Markers, free: list[SeenMarker]
) -> tuple[Markers, Array] | None:
    """The largest set of markers on one plane that starts from ``seed``."""
    matrix, members = plane(plan, seed), seed
    for _ in range(4):
        if matrix is None:
            return None
        found = agreeing(plan, matrix, free)
        if len(found) < len(seed):
            return None
        matrix = plane(plan, found)
        if {id(m) for m in found} == {id(m) for m in members}:
            break
        members = found
    return None if matrix is None else (members, matrix)


def _reprojection_error(plan: MarkerPlan, members: Markers, matrix: Array) -> float:
    page, picture = plan.corners_of(members)
    side = np.mean([m.module_px for m in members])
    return float(np.linalg.norm(apply_homography(matrix, page) - picture, axis=1).mean() / side)


def group_markers(plans: tuple[MarkerPlan, ...], seen: list[SeenMarker]) -> list[MarkerGroup]:
    """Markers sorted into sheets, the largest group first; each marker is used once.

    Two markers are the least that make a sheet. Plans whose ids overlap compete: the larger
    group wins, and among equals the one that lies flatter.
    """
    free, groups = list(seen), list[MarkerGroup]()
    while found := [
        (len(members), -_reprojection_error(plan, members, matrix), number, members, matrix)
        for number, plan in enumerate(plans)
        for members, matrix in _candidates(plan, free)
    ]:
        best = max(found, key=lambda each: each[:2])
        groups.append(MarkerGroup(*best[2:]))
        used = {id(m) for m in groups[-1].markers}
        free = [m for m in free if id(m) not in used]
    return groups


def _candidates(plan: MarkerPlan, free: list[SeenMarker]) -> Iterator[tuple[Markers, Array]]:
    """Sets of two or more markers of one plan that lie on one plane."""
    ours = [m for m in free if m.id in plan.corners_mm]
    if len(ours) < 2:
        return
    if len({m.id for m in ours}) == len(ours):
        whole = _grow(plan, tuple(ours), ours)
        if whole is not None and len(whole[0]) == len(ours):
            yield whole
            return
    pairs = [p for p in combinations(ours, 2) if p[0].id != p[1].id]
    pairs.sort(key=lambda pair: _pair_distance(plan, pair))
    for pair in pairs[: VISION.grouping.most_pairs]:
        grown = _grow(plan, pair, ours)
        if grown is not None and len(grown[0]) >= 2:
            yield grown


def _pair_distance(plan: MarkerPlan, pair: Markers) -> float:
    """Distance of two markers in the picture over that in print: markers of one sheet before
    those of two sheets far from each other.
    """
    first, second = (plan.corners_mm[m.id].mean(axis=0) for m in pair)
    size = np.mean([m.module_px for m in pair])
    seen = np.linalg.norm(pair[0].centre_px - pair[1].centre_px)
    return abs(float(np.log(seen / (np.linalg.norm(first - second) * size) + 1e-9)))


def seek_missing(pyramid: Pyramid, plan: MarkerPlan, group: MarkerGroup) -> MarkerGroup:
    """The group with every further marker of its plan that is found where the others say it is."""
    have = {m.id for m in group.markers}
    if len(have) >= VISION.seek.enough:
        return group
    found = [
        marker
        for number, corners_mm in plan.corners_mm.items()
        if number not in have
        for marker in _seek(pyramid, apply_homography(group.homography, corners_mm), number)
    ]
    if not found:
        return group
    members = agreeing(plan, group.homography, [*group.markers, *found])
    matrix = plane(plan, members)
    if matrix is None or len(members) <= len(group.markers):
        return group
    return MarkerGroup(group.plan, members, matrix)


def _seek(pyramid: Pyramid, expected: Array, number: int) -> list[SeenMarker]:
    """Markers of this ``number`` near the place where one is ``expected`` (4, 2) px."""
    side = mean_side(expected)
    height, width = pyramid.shape
    middle = expected.mean(axis=0)
    outside = (middle < 0).any() or (middle > (width - 1, height - 1)).any()
    if not np.isfinite(side) or outside or side < 8 or side > max(height, width):
        return []
    depth = pyramid.depth_for(side, VISION.seek.side_px)
    factor, margin = 2.0**depth, VISION.seek.margin * side
    x0, y0 = np.maximum(((expected.min(axis=0) - margin) / factor).astype(int), 0).tolist()
    x1, y1 = np.maximum(((expected.max(axis=0) + margin) / factor).astype(int) + 1, 0).tolist()
    piece = pyramid.level(depth)[y0:y1, x0:x1]
    if min(piece.shape) < side / factor:
        return []
    even = levelled(piece.copy(), 2)
    seen = detect_markers(even, SHEET_DICTIONARY, VISION.markers.correction, (number,))
    return [marker.enlarged(factor, (x0, y0)) for marker in seen]
