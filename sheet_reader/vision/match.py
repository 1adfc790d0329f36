"""Finding pieces of the printed page in the flattened picture, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Array, Flags, Float32, as_array, as_float32
from sheet_reader.vision.template import Tile


@dataclass(frozen=True, slots=True)
class Match:
    """Where tiles were found: ``shift_mm`` (N, 2), ``score`` (N,) -1..1 the weighted correlation
    at the peak, ``second_peak_ratio`` (N,) the height of the second peak over the first, 0..1, and
    ``edge`` (N,) bool, True where the peak lies on the rim of the search.
    """

    shift_mm: Array
    score: Array
    second_peak_ratio: Array
    edge: Flags


def match_tiles(
    ink: Float32,
    tiles: list[Tile],
    search_radius_mm: Array,
    px_per_mm: float,
    around_mm: Array | None = None,
    fast_score: float = 1.0,
) -> Match:
    """Each tile's best place within ``search_radius_mm`` (N,) of where it should be, or of
    ``around_mm`` (N, 2) beside that.

    ``ink`` float32 (H, W) is the flattened page, 0 paper to 1 black, at ``px_per_mm``. A tile
    that small steps from the middle place with ``fast_score`` or more is not searched for.
    """
    count = len(tiles)
    around = np.zeros((count, 2)) if around_mm is None else around_mm
    found = [
        _match_one(
            ink,
            tile,
            max(round(float(search_radius) * px_per_mm), 2),
            px_per_mm,
            middle,
            fast_score,
        )
        for tile, search_radius, middle in zip(
            tiles, search_radius_mm, np.rint(around * px_per_mm).astype(int).tolist(), strict=True
        )
    ]
    table = np.array(found, dtype=np.float64).reshape(-1, 5)
    return Match(table[:, :2], table[:, 2], table[:, 3], table[:, 4] > 0)


def _match_one(
    ink: Float32,
    tile: Tile,
    search_radius: int,
    px_per_mm: float,
    middle: list[int],
    fast_score: float,
) -> tuple[float, float, float, float, float]:
    height, width = tile.weighted.shape
    x0, y0 = tile.corner[0] + middle[0] - search_radius, tile.corner[1] + middle[1] - search_radius
    window = _window(ink, x0, y0, width + 2 * search_radius, height + 2 * search_radius)
    nearby = (
        _place(window, tile, search_radius, search_radius, 2 * search_radius)
        if fast_score < 1.0
        else None
    )
    second_peak_ratio = 0.0
    if nearby is None or nearby[2] < fast_score:
        surface = as_float32(cv2.matchTemplate(window, tile.weighted, cv2.TM_CCORR))
        _, peak, _, (px, py) = cv2.minMaxLoc(surface)
        if peak <= 0:
            return 0.0, 0.0, 0.0, 1.0, 1.0
        second_peak_ratio = (
            _second_peak(surface, px, py, max(round(VISION.match.peaks_apart_mm * px_per_mm), 2))
            / peak
        )
        # where something stronger nearby outshone it, go on from the middle
        found = _place(window, tile, px, py, 2 * search_radius)
        nearby = found or _place(window, tile, search_radius, search_radius, 2 * search_radius)
    if nearby is None:
        return 0.0, 0.0, 0.0, second_peak_ratio, 1.0
    x, y, score = nearby
    x, y = x - search_radius + middle[0], y - search_radius + middle[1]
    return x / px_per_mm, y / px_per_mm, score, second_peak_ratio, 0.0


def corner_gains(ink: Float32, tile: Tile, shift_mm: Array, px_per_mm: float) -> Array:
    """Contrast (4,) of the frame near each corner of its box, clockwise from top left: 1 as dark
    as the print, about 0 where the frame is not to be seen.
    """
    height, width = tile.weighted.shape
    x, y = np.array(tile.corner) + shift_mm * px_per_mm
    middle = (float(x) + (width - 1) / 2, float(y) + (height - 1) / 2)
    seen = as_float32(cv2.getRectSubPix(ink, (width, height), middle)).ravel()[tile.active]
    return as_array(tile.corners @ seen)


def _place(
    window: Float32, tile: Tile, px: int, py: int, limit: int
) -> tuple[float, float, float] | None:
    """Fractional place (x, y) of the tile in the window near a first guess, and the score.

    Least squares for brightness, contrast and shift at once (Lucas & Kanade, IJCAI 1981), so that
    what stands beside the tile does not pull it; None where the place runs off the window.
    """
    height, width = tile.weighted.shape
    for _ in range(VISION.match.steps):
        if not (0 < px < limit and 0 < py < limit):
            return None
        seen = window[py : py + height, px : px + width].ravel()[tile.active]
        gain, _, gx, gy = (tile.solver @ seen).tolist()
        if gain <= 1e-3:
            return None
        dx, dy = -gx / gain, -gy / gain
        if max(abs(dx), abs(dy)) <= 0.75:
            break
        px, py = px + _step(dx), py + _step(dy)
    dx, dy, score = _robust_shift(seen, tile, gain)
    return px + min(max(dx, -1.0), 1.0), py + min(max(dy, -1.0), 1.0), score


def _step(offset: float) -> int:
    return 0 if abs(offset) < 0.5 else (1 if offset > 0 else -1)


def _robust_shift(seen: Float32, tile: Tile, gain: float) -> tuple[float, float, float]:
    """Shift along x and y in px, and correlation, of pixels ``seen`` (K,) against the tile, with
    outlying pixels (ink over the print) weighing less than those near a first fit.
    """
    basis = tile.basis
    off = seen - (tile.solver @ seen) @ basis
    off *= np.float32(1.0 / max(VISION.match.outlier * gain, 0.02))
    weight = np.float32(1.0) / (np.float32(1.0) + off * off)
    weighted = basis * weight
    answer = cv2.solve(weighted @ basis.T, (weighted @ seen)[:, None])[1][:, 0]
    off = seen - answer @ basis
    total = float(weight.sum())
    mean = float(weight @ seen) / total
    energy = float(weight @ (seen * seen)) - mean * mean * total
    left = float(weight @ (off * off))
    score = max(1.0 - left / max(energy, 1e-6), 0.0) ** 0.5
    gain, _, gx, gy = answer.tolist()
    if gain <= 1e-3:
        return 0.0, 0.0, 0.0
    return -gx / gain, -gy / gain, score


def _window(ink: Float32, x0: int, y0: int, width: int, height: int) -> Float32:
    """A piece of the page, with blank paper beyond its edge."""
    left, top = max(-x0, 0), max(-y0, 0)
    right = max(x0 + width - ink.shape[1], 0)
    bottom = max(y0 + height - ink.shape[0], 0)
    piece = ink[max(y0, 0) : y0 + height, max(x0, 0) : x0 + width]
    if left or top or right or bottom:
        piece = np.pad(piece, ((top, bottom), (left, right)))
    return piece


def _second_peak(surface: Float32, px: int, py: int, apart: int) -> float:
    """Highest sample at least ``apart`` from the peak; ``surface`` is spoilt."""
    surface[max(py - apart, 0) : py + apart + 1, max(px - apart, 0) : px + apart + 1] = 0.0
    return max(float(cv2.minMaxLoc(surface)[1]), 0.0)
