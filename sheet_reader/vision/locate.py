"""From markers to every box: the surface of the paper, fitted coarse to fine."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Array, Flags, Float32, as_array
from sheet_reader.vision.flat_page import FlatPage, Pyramid, flatten
from sheet_reader.vision.marker_groups import MarkerGroup, MarkerPlan
from sheet_reader.vision.match import Match, corner_gains, match_tiles
from sheet_reader.vision.surface import Correspondences, FittedSurface, fit_surface, join
from sheet_reader.vision.template import PreparedPage


@dataclass(frozen=True, slots=True)
class Located:
    """The page found in the picture: the ``surface``, the flat page it gives, and for every box
    its ``shift_mm`` (N, 2) beyond the surface, ``carried_mm`` (N, 2) from there to its place on
    the flat page (made through an earlier surface), the remaining error ``error_mm`` (N,), how well
    its frame was seen ``score`` (N,), whether that place is ``confirmed`` (N,) and the contrast
    ``gains`` (N, 4) of its frame at each corner.
    """

    surface: FittedSurface
    flat: FlatPage
    shift_mm: Array
    carried_mm: Array
    error_mm: Array
    score: Array
    confirmed: Flags
    gains: Array


def marker_correspondences(plan: MarkerPlan, group: MarkerGroup) -> Correspondences:
    """The corners of a group's markers as correspondences."""
    page, picture = plan.corners_of(group.markers)
    return Correspondences(page, picture, np.full(len(page), VISION.locate.marker_sd_mm))


def _tile_search(sd_mm: Array) -> Array:
    """Search radius (N,) in mm of tiles where the surface is uncertain by ``sd_mm`` (N,)."""
    own = VISION.locate
    wanted = own.search_sds * sd_mm + own.tile_search_more_mm
    return as_array(np.clip(wanted, own.tile_least_search_mm, own.most_search_mm))


def _box_search(sd_mm: Array) -> Array:
    """Search radius (N,) in mm of boxes where the surface is uncertain by ``sd_mm`` (N,)."""
    own = VISION.locate
    wanted = own.search_sds * sd_mm + own.box_search_more_mm
    return as_array(np.clip(wanted, *own.box_search_range_mm))


def coarse_surface(
    pyramid: Pyramid, prepared: PreparedPage, start: Correspondences, surface: FittedSurface
) -> FittedSurface:
    """Grows the ``surface`` of the markers outward by large tiles of the printed page."""
    own, centres, scale = VISION.locate, prepared.tile_centres, VISION.template.coarse_px_per_mm
    known: dict[int, tuple[Array, Array, float]] = {}
    for _ in range(own.rounds):
        sd = surface.sd_mm(centres)
        flat = flatten(pyramid, surface, scale)
        todo = np.flatnonzero((2.0 * sd < own.most_search_mm) & flat.seen(centres))
        tiles = [prepared.tiles[i] for i in todo]
        ink = flat.ink(VISION.template.soften_px)
        match = match_tiles(ink, tiles, _tile_search(sd)[todo], scale)
        unique = match.second_peak_ratio < own.tile_second_peak
        good = (match.score > own.tile_score) & unique & ~match.edge
        at = surface.to_px(centres[todo] + match.shift_mm)
        before = len(known)
        for k in np.flatnonzero(good):
            known[int(todo[k])] = centres[todo[k]], at[k], own.tile_sd_mm / match.score[k]
        if not known:
            break
        seen = Correspondences(*map(np.array, zip(*known.values(), strict=True)))
        surface = fit_surface(prepared.control_grid, surface.homography, join(start, seen))
        moved = np.linalg.norm(match.shift_mm[good], axis=1)
        calm = moved.size == 0 or np.percentile(moved, 95) < 1.0
        if calm and (
            len(known) == before
            or (sd[todo] < own.sure_mm).all()
            or (surface.sd_mm(prepared.box_centres) < own.sure_mm).all()
        ):
            break
    return surface


def locate(
    pyramid: Pyramid, prepared: PreparedPage, start: Correspondences, first: FittedSurface
) -> Located:
    """Every box of the page in the picture, from the markers' correspondences ``start`` and the
    surface ``first`` through them.
    """
    surface = coarse_surface(pyramid, prepared, start, first)
    scale, centres = VISION.template.fine_px_per_mm, prepared.box_centres
    flat, around = flatten(pyramid, surface, scale), None
    if len(centres):
        room = VISION.locate.around_boxes_mm
        around = np.array([centres.min(axis=0) - room, centres.max(axis=0) + room])
    ink = flat.ink(VISION.template.soften_px, around)
    radius = _box_search(surface.sd_mm(centres))
    match = match_tiles(ink, prepared.boxes, radius, scale, fast_score=VISION.locate.fast_score)
    fine = _fine_surface(prepared, surface, flat, match, start)
    return _settle(prepared, surface, fine, flat, ink, match)


def _fine_surface(
    prepared: PreparedPage, surface: FittedSurface, flat: FlatPage, match: Match,
    start: Correspondences,
) -> FittedSurface:  # fmt: skip
    """The surface through the boxes' own correspondences, with closer knots."""
    own, centres = VISION.locate, prepared.box_centres
    good = (match.score > own.box_score) & ~match.edge & flat.seen(centres)
    if good.sum() < own.fewest_boxes:
        return surface
    spread = own.box_sd_mm / np.maximum(match.score[good], 0.1)
    picture = surface.to_px(centres[good] + match.shift_mm[good])
    seen = join(start, Correspondences(centres[good], picture, spread))
    close = replace(prepared.control_grid, step_mm=own.fine_knot_mm)
    return fit_surface(close, surface.homography, seen, own.fine_curvature_per_mm)


def _near(score: Array, off: Array, sd: Array) -> Flags:
    """Whether a match ``off`` (N,) mm from the surface is believed: more where it is clear. A
    box's neighbour is 9 mm away, so none of these can be the neighbour.
    """
    own = VISION.locate
    near: Flags = (score > own.box_score) & (off < own.near_mm + own.near_sds * sd)
    near |= (score > own.clear_score) & (off < own.far_mm)
    return near


def _settle(
    prepared: PreparedPage, surface: FittedSurface, fine: FittedSurface, flat: FlatPage,
    ink: Float32, match: Match,
) -> Located:  # fmt: skip
    """What each box deviates from the fine surface, and whether its frame is there."""
    centres, scale = prepared.box_centres, VISION.template.fine_px_per_mm
    # what the fine surface adds to the one under the flat page, and what is left for each box
    carried = fine.flat(centres) - surface.flat(centres)
    shift, score = match.shift_mm - carried, match.score.copy()
    sd, seen = fine.sd_mm(centres), flat.seen(centres)
    near = _near(score, np.linalg.norm(shift, axis=1), sd) & ~match.edge & seen
    lost = np.flatnonzero(seen & ~near)
    if len(lost):
        tiles = [prepared.boxes[i] for i in lost]
        radius = np.full(len(lost), VISION.locate.far_mm)
        again = match_tiles(ink, tiles, radius, scale, carried[lost])
        shift[lost], score[lost] = again.shift_mm - carried[lost], again.score
        off = np.linalg.norm(shift[lost], axis=1)
        near[lost] = _near(score[lost], off, sd[lost]) & ~again.edge
    off = np.linalg.norm(shift, axis=1)
    shift[~near] = 0.0
    error = np.where(near, _error(score, off), np.hypot(sd, 0.1 + 0.5 * off))
    gains = [
        corner_gains(ink, tile, place, scale)
        for tile, place in zip(prepared.boxes, carried + shift, strict=True)
    ]
    by_corner = np.array(gains).reshape(-1, 4)
    return Located(fine, flat, shift, carried, error, score, near, by_corner)


def _error(score: Array, off: Array) -> Array:
    """Remaining error (N,) of a box with a match of its own; measured on simulated pictures."""
    own = VISION.locate
    worse = 1.0 - np.minimum(score, 1.0)
    return as_array(own.error_mm + own.error_by_score_mm * worse + own.error_by_offset * off)
