"""Which markers belong to one sheet: by whether one plane explains where they are."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.sheet.model import Marker
from sheet_reader.vision.arrays import Array, as_array
from sheet_reader.vision.markers import SeenMarker
from sheet_reader.vision.surface import apply_homography


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
        extent = every.max(axis=0) - every.min(axis=0)
        return MarkerPlan(corners, float(np.hypot(*extent)))


def ids_of(plans: tuple[MarkerPlan, ...]) -> tuple[int, ...]:
    """The ids of all markers of the plans, in rising order."""
    return tuple(sorted({number for plan in plans for number in plan.corners_mm}))


@dataclass(frozen=True, slots=True)
class Group:
    """Markers of one sheet and the plane (3 × 3, mm to px) through them; ``plan`` is the number
    of the plan that fits.
    """

    plan: int
    markers: tuple[SeenMarker, ...]
    homography: Array


def plane(plan: MarkerPlan, markers: tuple[SeenMarker, ...]) -> Array | None:
    """Least-squares homography from millimetres to pixels through all corners, or None."""
    page = np.concatenate([plan.corners_mm[m.id] for m in markers])
    picture = np.concatenate([m.corners_px for m in markers])
    matrix, _ = cv2.findHomography(page, picture, 0)
    if matrix is None or not np.isfinite(matrix).all():
        return None
    corners = apply_homography(as_array(matrix), page)
    if not np.isfinite(corners).all() or np.linalg.det(matrix) <= 0:
        return None
    return as_array(matrix)


def agreeing(plan: MarkerPlan, matrix: Array, free: list[SeenMarker]) -> tuple[SeenMarker, ...]:
    """The markers that lie where the plane puts them, the nearest one of each id."""
    best: dict[int, tuple[float, SeenMarker]] = {}
    for marker in free:
        page = plan.corners_mm.get(marker.id)
        if page is None:
            continue
        expected = apply_homography(matrix, page)
        side = np.linalg.norm(expected - np.roll(expected, 1, axis=0), axis=1).mean()
        page_side = np.linalg.norm(page[0] - page[1])
        allowed = VISION.grouping.tolerance * plan.diagonal_mm * side / page_side
        miss = float(np.linalg.norm(expected - marker.corners_px, axis=1).mean())
        size = marker.module_px * 8 / max(float(side), 1e-6)
        turn = _turn(expected, marker.corners_px)
        fits = (
            miss <= allowed
            and VISION.grouping.size_range[0] < size < VISION.grouping.size_range[1]
            and turn > 0.8
        )
        if fits and (marker.id not in best or miss < best[marker.id][0]):
            best[marker.id] = (miss, marker)
    return tuple(m for _, m in best.values())


def _turn(expected: Array, seen: Array) -> float:
    """Cosine of the angle between the expected and the seen marker."""
    a = expected[1] + expected[2] - expected[0] - expected[3]
    b = seen[1] + seen[2] - seen[0] - seen[3]
    return float(a @ b / max(np.linalg.norm(a) * np.linalg.norm(b), 1e-9))


def _grow(
    plan: MarkerPlan, seed: tuple[SeenMarker, ...], free: list[SeenMarker]
) -> tuple[tuple[SeenMarker, ...], Array] | None:
    """The largest set of markers on one plane that starts from ``seed``."""
    matrix = plane(plan, seed)
    if matrix is None:
        return None
    members = seed
    for _ in range(4):
        found = agreeing(plan, matrix, free)
        if len(found) < len(seed):
            return None
        closer = plane(plan, found)
        if closer is None:
            return None
        matrix = closer
        if {id(m) for m in found} == {id(m) for m in members}:
            break
        members = found
    return members, matrix


def _reprojection_error(plan: MarkerPlan, members: tuple[SeenMarker, ...], matrix: Array) -> float:
    page = np.concatenate([plan.corners_mm[m.id] for m in members])
    picture = np.concatenate([m.corners_px for m in members])
    side = np.mean([m.module_px for m in members])
    return float(np.linalg.norm(apply_homography(matrix, page) - picture, axis=1).mean() / side)


def group_markers(plans: tuple[MarkerPlan, ...], seen: list[SeenMarker]) -> list[Group]:
    """Markers sorted into sheets, the largest group first; each marker is used once.

    Two markers are the least that make a sheet. Plans whose ids overlap compete: the larger
    group wins, and among equals the one that lies flatter.
    """
    free = list(seen)
    groups: list[Group] = []
    while True:
        best: tuple[tuple[int, float], Group] | None = None
        for number, plan in enumerate(plans):
            for members, matrix in _candidates(plan, free):
                rank = (len(members), -_reprojection_error(plan, members, matrix))
                if best is None or rank > best[0]:
                    best = (rank, Group(number, members, matrix))
        if best is None:
            return groups
        groups.append(best[1])
        used = {id(m) for m in best[1].markers}
        free = [m for m in free if id(m) not in used]


def _candidates(
    plan: MarkerPlan, free: list[SeenMarker]
) -> list[tuple[tuple[SeenMarker, ...], Array]]:
    """Sets of two or more markers of one plan that lie on one plane."""
    ours = [m for m in free if m.id in plan.corners_mm]
    if len(ours) < 2:
        return []
    if len({m.id for m in ours}) == len(ours):
        whole = _grow(plan, tuple(ours), ours)
        if whole is not None and len(whole[0]) == len(ours):
            return [whole]
    pairs = [p for p in combinations(ours, 2) if p[0].id != p[1].id]
    pairs.sort(key=lambda p: _pair_distance(plan, p))
    grown = (_grow(plan, pair, ours) for pair in pairs[: VISION.grouping.most_pairs])
    return [g for g in grown if g is not None and len(g[0]) >= 2]


def _pair_distance(plan: MarkerPlan, pair: tuple[SeenMarker, ...]) -> float:
    """Distance of two markers in the picture over that in print: markers of one sheet before
    those of two sheets far from each other.
    """
    page = [plan.corners_mm[m.id].mean(axis=0) for m in pair]
    seen = [m.corners_px.mean(axis=0) for m in pair]
    size = np.mean([m.module_px for m in pair])
    printed = np.linalg.norm(page[0] - page[1])
    return abs(float(np.log(np.linalg.norm(seen[0] - seen[1]) / (printed * size) + 1e-9)))


def outline(matrix: Array, width_mm: float, height_mm: float) -> Array:
    """The page's corners (4, 2) in the picture, clockwise from the printed top left."""
    page = np.array([[0, 0], [width_mm, 0], [width_mm, height_mm], [0, height_mm]], dtype=float)
    return apply_homography(matrix, page)
