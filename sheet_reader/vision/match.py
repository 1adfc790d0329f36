"""Finding pieces of the printed page in the flattened picture, to a fraction of a pixel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Array, Flags, Float32, as_array, as_float32
from sheet_reader.vision.template import TemplateTile


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
    ink: Float32, tiles: Sequence[TemplateTile], search_radius_mm: Array, px_per_mm: float,
    around_mm: Array | None = None, fast_score: float = 1.0,
) -> Match:  # fmt: skip
    """Each tile's best place within ``search_radius_mm`` (N,) of where it should be, or of
    ``around_mm`` (N, 2) beside that.

    ``ink`` float32 (H, W) is the flattened page, 0 paper to 1 black, at ``px_per_mm``. A tile
    that small steps from the middle place with ``fast_score`` or more is not searched for.
    """
    around = np.zeros((len(tiles), 2)) if around_mm is None else around_mm
    middles = np.rint(around * px_per_mm).astype(int).tolist()
    radii = [max(round(radius * px_per_mm), 2) for radius in search_radius_mm.tolist()]
    apart = max(round(VISION.match.peaks_apart_mm * px_per_mm), 2)
    found = [
        _match_one(ink, tile, radius, middle, apart, fast_score)
        for tile, radius, middle in zip(tiles, radii, middles, strict=True)
    ]
    table = np.array(found, dtype=np.float64).reshape(-1, 5)
    return Match(table[:, :2] / px_per_mm, table[:, 2], table[:, 3], table[:, 4] > 0)


def _match_one(
    ink: Float32, tile: TemplateTile, radius: int, middle: list[int], apart: int, fast_score: float
) -> tuple[float, float, float, float, bool]:
    """Shift along x and y in px, score, second peak's ratio, and whether the peak is on the rim."""
    height, width = tile.weighted.shape
    x0, y0 = tile.corner[0] + middle[0] - radius, tile.corner[1] + middle[1] - radius
    window = _window(ink, x0, y0, width + 2 * radius, height + 2 * radius)
    nearby = _place(window, tile, radius, radius, 2 * radius) if fast_score < 1.0 else None
    ratio = 0.0
    if nearby is None or nearby[2] < fast_score:
        surface = as_float32(cv2.matchTemplate(window, tile.weighted, cv2.TM_CCORR))
        _, peak, _, (px, py) = cv2.minMaxLoc(surface)
        if peak <= 0:
            return 0.0, 0.0, 0.0, 1.0, True
        ratio = _second_peak(surface, px, py, apart) / peak
        # where something stronger nearby outshone it, go on from the middle
        found = _place(window, tile, px, py, 2 * radius)
        nearby = found or _place(window, tile, radius, radius, 2 * radius)
    if nearby is None:
        return 0.0, 0.0, 0.0, ratio, True
    x, y, score = nearby
    return x - radius + middle[0], y - radius + middle[1], score, ratio, False


def corner_gains(ink: Float32, tile: TemplateTile, shift_mm: Array, px_per_mm: float) -> Array:
    """Contrast (4,) of the frame near each corner of its box, clockwise from top left: 1 as dark
    as the print, about 0 where the frame is not to be seen.
    """
    height, width = tile.weighted.shape
    x, y = (np.array(tile.corner) + shift_mm * px_per_mm).tolist()
    middle = (x + (width - 1) / 2, y + (height - 1) / 2)
    seen = as_float32(cv2.getRectSubPix(ink, (width, height), middle)).ravel()[tile.active]
    return as_array(tile.corners @ seen)


def _place(
    window: Float32, tile: TemplateTile, px: int, py: int, limit: int
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


def _robust_shift(seen: Float32, tile: TemplateTile, gain: float) -> tuple[float, float, float]:
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
    return (-gx / gain, -gy / gain, score) if gain > 1e-3 else (0.0, 0.0, 0.0)


def _window(ink: Float32, x0: int, y0: int, width: int, height: int) -> Float32:
    """A piece of the page, with blank paper beyond its edge."""
    x1, y1 = x0 + width, y0 + height
    piece = ink[max(y0, 0) : y1, max(x0, 0) : x1]
    left, top = max(-x0, 0), max(-y0, 0)
    right, bottom = max(x1 - ink.shape[1], 0), max(y1 - ink.shape[0], 0)
    if left or top or right or bottom:
        piece = np.pad(piece, ((top, bottom), (left, right)))
    return piece


def _second_peak(surface: Float32, px: int, py: int, apart: int) -> float:
    """Highest sample at least ``apart`` from the peak; ``surface`` is spoilt."""
    surface[max(py - apart, 0) : py + apart + 1, max(px - apart, 0) : px + apart + 1] = 0.0
    return max(float(cv2.minMaxLoc(surface)[1]), 0.0)
