"""From markers to every box: the surface of the paper, fitted coarse to fine."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sheet_reader.vision.arrays import Array, Flags, Float32, as_array
from sheet_reader.vision.flatten import FlatPage, Pyramid, flatten
from sheet_reader.vision.grouping import Group, MarkerPlan
from sheet_reader.vision.match import Match, corner_gains, match_tiles
from sheet_reader.vision.surface import Correspondences, Surface, fit_surface, join
from sheet_reader.vision.template import COARSE, FINE, SOFTEN_PX, PreparedPage

MARKER_SD_MM = 0.08
_TILE_SD_MM = 0.15
_BOX_SD_MM = 0.05
_MOST_SEARCH_MM = 6.0
_TILE_SCORE, _TILE_SECOND_PEAK = 0.40, 0.85
_BOX_SCORE = 0.45
_FEWEST_BOXES = 4
_FAST_SCORE = 0.75
_CLEAR_SCORE, _FAR_MM = 0.65, 1.5
FINE_KNOT_MM, FINE_CURVATURE_PER_MM = 22.0, 3e-3
_ROUNDS = 5
_SURE_MM = 0.35


@dataclass(frozen=True, slots=True)
class Located:
    """The page found in the picture: the ``surface``, the flat page it gives, and for every box
    its ``shift_mm`` (N, 2) beyond the surface, ``carried_mm`` (N, 2) from there to its place on
    the flat page (made through an earlier surface), the remaining error ``error_mm`` (N,), how well
    its frame was seen ``score`` (N,), whether that place is ``confirmed`` (N,) and the contrast
    ``gains`` (N, 4) of its frame at each corner.
    """

    surface: Surface
    flat: FlatPage
    shift_mm: Array
    carried_mm: Array
    error_mm: Array
    score: Array
    confirmed: Flags
    gains: Array


def marker_correspondences(plan: MarkerPlan, group: Group) -> Correspondences:
    """The corners of a group's markers as correspondences."""
    page = np.concatenate([plan.corners_mm[m.id] for m in group.markers])
    picture = np.concatenate([m.corners_px for m in group.markers])
    return Correspondences(page, picture, np.full(len(page), MARKER_SD_MM))


def coarse_surface(
    pyramid: Pyramid, prepared: PreparedPage, start: Correspondences, surface: Surface
) -> Surface:
    """Grows the ``surface`` of the markers outward by large tiles of the printed page."""
    homography = surface.homography
    known: dict[int, tuple[Array, Array, float]] = {}
    centres = prepared.tile_centres
    for _ in range(_ROUNDS):
        sd = surface.sd_mm(centres)
        flat = flatten(pyramid, surface, COARSE)
        search_radius = np.clip(2.5 * sd + 0.6, 0.9, _MOST_SEARCH_MM)
        todo = np.flatnonzero((2.0 * sd < _MOST_SEARCH_MM) & flat.seen(centres))
        match = match_tiles(
            flat.ink(SOFTEN_PX), [prepared.tiles[i] for i in todo], search_radius[todo], COARSE
        )
        good = (
            (match.score > _TILE_SCORE)
            & (match.second_peak_ratio < _TILE_SECOND_PEAK)
            & ~match.edge
        )
        at = surface.to_px(centres[todo] + match.shift_mm)
        before = len(known)
        for k in np.flatnonzero(good):
            known[int(todo[k])] = (centres[todo[k]], at[k], _TILE_SD_MM / match.score[k])
        if not known:
            break
        page, picture, spread = (np.array(column) for column in zip(*known.values(), strict=True))
        surface = fit_surface(
            prepared.control_grid, homography, join(start, Correspondences(page, picture, spread))
        )
        moved = np.linalg.norm(match.shift_mm[good], axis=1)
        settled = len(known) == before or bool((sd[todo] < _SURE_MM).all())
        calm = moved.size == 0 or np.percentile(moved, 95) < 1.0
        if settled and calm:
            break
        if calm and bool((surface.sd_mm(prepared.box_centres) < _SURE_MM).all()):
            break
    return surface


def locate(
    pyramid: Pyramid, prepared: PreparedPage, start: Correspondences, first: Surface
) -> Located:
    """Every box of the page in the picture, from the markers' correspondences ``start`` and the
    surface ``first`` through them.
    """
    surface = coarse_surface(pyramid, prepared, start, first)
    flat = flatten(pyramid, surface, FINE)
    ink = flat.ink(SOFTEN_PX)
    search_radius = np.clip(2.5 * surface.sd_mm(prepared.box_centres) + 0.4, 0.6, 1.6)
    match = match_tiles(ink, list(prepared.boxes), search_radius, FINE, fast_score=_FAST_SCORE)
    fine = _fine_surface(prepared, surface, flat, match, start)
    return _settle(prepared, surface, fine, flat, ink, match)


def _fine_surface(
    prepared: PreparedPage, surface: Surface, flat: FlatPage, match: Match, start: Correspondences
) -> Surface:
    """The surface through the boxes' own correspondences, with closer knots."""
    centres = prepared.box_centres
    good = (match.score > _BOX_SCORE) & ~match.edge & flat.seen(centres)
    if good.sum() < _FEWEST_BOXES:
        return surface
    spread = _BOX_SD_MM / np.maximum(match.score[good], 0.1)
    picture = surface.to_px(centres[good] + match.shift_mm[good])
    seen = Correspondences(centres[good], picture, spread)
    close = replace(prepared.control_grid, step_mm=FINE_KNOT_MM)
    return fit_surface(close, surface.homography, join(start, seen), FINE_CURVATURE_PER_MM)


def _near(score: Array, off: Array, sd: Array) -> Flags:
    """Whether a match ``off`` (N,) mm from the surface is believed: more where it is clear. A
    box's neighbour is 9 mm away, so none of these can be the neighbour.
    """
    near: Flags = (score > _BOX_SCORE) & (off < 0.25 + 3.0 * sd)
    near |= (score > _CLEAR_SCORE) & (off < _FAR_MM)
    return near


def _settle(
    prepared: PreparedPage, surface: Surface, fine: Surface, flat: FlatPage, ink: Float32,
    match: Match,
) -> Located:  # fmt: skip
    """What each box deviates from the fine surface, and whether its frame is there."""
    centres = prepared.box_centres
    # what the fine surface adds to the one under the flat page, and what is left for each box
    carried = fine.flat(centres) - surface.flat(centres)
    shift, score = match.shift_mm - carried, match.score.copy()
    sd, seen = fine.sd_mm(centres), flat.seen(centres)
    near = _near(score, np.linalg.norm(shift, axis=1), sd) & ~match.edge & seen
    lost = np.flatnonzero(seen & ~near)
    if len(lost):
        tiles = [prepared.boxes[i] for i in lost]
        again = match_tiles(ink, tiles, np.full(len(lost), _FAR_MM), FINE, carried[lost])
        shift[lost], score[lost] = again.shift_mm - carried[lost], again.score
        off = np.linalg.norm(shift[lost], axis=1)
        near[lost] = _near(score[lost], off, sd[lost]) & ~again.edge
    off = np.linalg.norm(shift, axis=1)
    shift[~near] = 0.0
    error = np.where(near, _error(score, off), np.hypot(sd, 0.1 + 0.5 * off))
    gains = np.array(
        [
            corner_gains(ink, tile, carried[i] + shift[i], FINE)
            for i, tile in enumerate(prepared.boxes)
        ]
    ).reshape(-1, 4)
    return Located(fine, flat, shift, carried, error, score, near, gains)


def _error(score: Array, off: Array) -> Array:
    """Remaining error (N,) of a box with a match of its own; measured on simulated pictures."""
    return as_array(0.035 + 0.14 * (1.0 - np.minimum(score, 1.0)) + 0.15 * off)
