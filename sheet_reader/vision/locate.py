"""From markers to every box: the surface of the paper, fitted coarse to fine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sheet_reader.vision.arrays import Array, Flags, Float32
from sheet_reader.vision.flatten import FlatPage, Pyramid, flatten
from sheet_reader.vision.grouping import Group, MarkerPlan
from sheet_reader.vision.match import Match, corner_gains, match_tiles, place_near
from sheet_reader.vision.surface import Sightings, Surface, fit_surface, join
from sheet_reader.vision.template import COARSE, FINE, SOFTEN_PX, PreparedPage

MARKER_SD_MM = 0.08
_TILE_SD_MM = 0.15
_BOX_SD_MM = 0.05
_MOST_REACH_MM = 6.0
_TILE_SCORE, _TILE_RIVAL = 0.40, 0.85
_BOX_SCORE = 0.45
_FEWEST_BOXES = 4
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


def marker_sightings(plan: MarkerPlan, group: Group) -> Sightings:
    """The corners of a group's markers as sightings."""
    page = np.concatenate([plan.corners_mm[m.id] for m in group.markers])
    picture = np.concatenate([m.corners_px for m in group.markers])
    return Sightings(page, picture, np.full(len(page), MARKER_SD_MM))


def marker_surface(prepared: PreparedPage, plan: MarkerPlan, group: Group) -> Surface:
    """The surface that the markers alone give."""
    return fit_surface(prepared.lattice, group.homography, marker_sightings(plan, group))


def coarse_surface(
    pyramid: Pyramid, prepared: PreparedPage, start: Sightings, homography: Array
) -> Surface:
    """Grows the surface outward from the markers by large tiles of the printed page."""
    surface = fit_surface(prepared.lattice, homography, start)
    known: dict[int, tuple[Array, Array, float]] = {}
    centres = prepared.tile_centres
    for _ in range(_ROUNDS):
        sd = surface.sd_mm(centres)
        flat = flatten(pyramid, surface, COARSE)
        reach = np.clip(2.5 * sd + 0.6, 0.9, _MOST_REACH_MM)
        todo = np.flatnonzero((2.0 * sd < _MOST_REACH_MM) & flat.seen(centres))
        match = match_tiles(
            flat.ink(SOFTEN_PX), [prepared.tiles[i] for i in todo], reach[todo], COARSE
        )
        good = (match.score > _TILE_SCORE) & (match.rival < _TILE_RIVAL) & ~match.edge
        at = surface.to_px(centres[todo] + match.shift_mm)
        before = len(known)
        for k in np.flatnonzero(good):
            known[int(todo[k])] = (centres[todo[k]], at[k], _TILE_SD_MM / match.score[k])
        if not known:
            break
        page, picture, spread = (np.array(column) for column in zip(*known.values(), strict=True))
        surface = fit_surface(
            prepared.lattice, homography, join(start, Sightings(page, picture, spread))
        )
        moved = np.linalg.norm(match.shift_mm[good], axis=1)
        settled = len(known) == before or bool((sd[todo] < _SURE_MM).all())
        calm = moved.size == 0 or np.percentile(moved, 95) < 1.0
        if settled and calm:
            break
        if calm and bool((surface.sd_mm(prepared.box_centres) < _SURE_MM).all()):
            break
    return surface


def locate(pyramid: Pyramid, prepared: PreparedPage, plan: MarkerPlan, group: Group) -> Located:
    """Every box of the page in the picture."""
    start = marker_sightings(plan, group)
    surface = coarse_surface(pyramid, prepared, start, group.homography)
    flat = flatten(pyramid, surface, FINE)
    ink = flat.ink(SOFTEN_PX)
    reach = np.clip(2.5 * surface.sd_mm(prepared.box_centres) + 0.4, 0.6, 1.6)
    match = match_tiles(ink, list(prepared.boxes), reach, FINE)
    last = _last_surface(prepared, surface, flat, match, start)
    return _settle(prepared, surface, last, flat, ink, match)


def _last_surface(
    prepared: PreparedPage, surface: Surface, flat: FlatPage, match: Match, start: Sightings
) -> Surface:
    """The surface through the boxes' own sightings."""
    centres = prepared.box_centres
    good = (match.score > _BOX_SCORE) & ~match.edge & flat.seen(centres)
    if good.sum() < _FEWEST_BOXES:
        return surface
    spread = _BOX_SD_MM / np.maximum(match.score[good], 0.1)
    picture = surface.to_px(centres[good] + match.shift_mm[good])
    seen = Sightings(centres[good], picture, spread)
    return fit_surface(prepared.lattice, surface.homography, join(start, seen))


def _settle(
    prepared: PreparedPage, surface: Surface, last: Surface, flat: FlatPage, ink: Float32,
    match: Match,
) -> Located:  # fmt: skip
    """What each box deviates from the last surface, and whether its frame is there."""
    centres = prepared.box_centres
    # what the last surface adds to the one under the flat page, and what is left for each box
    carried = last.flat(centres) - surface.flat(centres)
    shift, score = match.shift_mm - carried, match.score.copy()
    sd = last.sd_mm(centres)
    allowed = 0.25 + 3.0 * sd
    seen = flat.seen(centres)
    near = (score > _BOX_SCORE) & ~match.edge & (np.linalg.norm(shift, axis=1) < allowed)
    for i in np.flatnonzero(seen & ~near):
        again = place_near(ink, prepared.boxes[i], carried[i], FINE)
        if again is not None:
            shift[i], score[i] = again[0] - carried[i], again[1]
            near[i] = score[i] > _BOX_SCORE and np.linalg.norm(shift[i]) < allowed[i]
    near &= seen
    off = np.linalg.norm(shift, axis=1)
    shift[~near] = 0.0
    error = np.where(near, np.minimum(0.5 * off + 0.04, 0.3), np.hypot(sd, 0.1 + 0.5 * off))
    gains = np.array(
        [
            corner_gains(ink, tile, carried[i] + shift[i], FINE)
            for i, tile in enumerate(prepared.boxes)
        ]
    ).reshape(-1, 4)
    return Located(last, flat, shift, carried, error, score, near, gains)
