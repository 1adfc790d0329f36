"""Finding pieces of the printed page in the flattened picture, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.vision.surface import Array
from sheet_reader.vision.template import Tile

_APART_MM = 1.6
"""A second peak nearer than this is the same peak."""


@dataclass(frozen=True, slots=True)
class Match:
    """Where tiles were found: ``shift_mm`` (N, 2), ``score`` (N,) -1..1 the weighted correlation
    at the peak, ``rival`` (N,) the height of the second peak over the first, 0..1, and
    ``edge`` (N,) bool, True where the peak lies on the rim of the search.
    """

    shift_mm: Array
    score: Array
    rival: Array
    edge: NDArray[np.bool_]


def match_tiles(
    ink: NDArray[np.float32], tiles: list[Tile], reach_mm: Array, px_per_mm: float
) -> Match:
    """Each tile's best place within ``reach_mm`` (N,) of where it should be.

    ``ink`` float32 (H, W) is the flattened page, 0 paper to 1 black, at ``px_per_mm``.
    """
    found = [
        _match_one(ink, tile, max(round(float(reach) * px_per_mm), 2), px_per_mm)
        for tile, reach in zip(tiles, reach_mm, strict=True)
    ]
    table = np.array(found, dtype=np.float64).reshape(-1, 5)
    return Match(table[:, :2], table[:, 2], table[:, 3], table[:, 4] > 0)


def _match_one(
    ink: NDArray[np.float32], tile: Tile, reach: int, px_per_mm: float
) -> tuple[float, float, float, float, float]:
    height, width = tile.weight.shape
    x0, y0 = tile.corner[0] - reach, tile.corner[1] - reach
    window = _window(ink, x0, y0, width + 2 * reach, height + 2 * reach)
    surface = cv2.matchTemplate(window, tile.weighted, cv2.TM_CCORR)
    _, peak, _, (px, py) = cv2.minMaxLoc(surface)
    if peak <= 0:
        return 0.0, 0.0, 0.0, 1.0, 1.0
    edge = px in (0, 2 * reach) or py in (0, 2 * reach)
    dx, dy = (0.0, 0.0) if edge else _summit(surface, px, py)
    piece = window[py : py + height, px : px + width]
    score = _correlation(piece, tile, peak)
    rival = _rival(surface, px, py, max(round(_APART_MM * px_per_mm), 2)) / peak
    return ((px + dx - reach) / px_per_mm, (py + dy - reach) / px_per_mm, score, rival, float(edge))


def _window(
    ink: NDArray[np.float32], x0: int, y0: int, width: int, height: int
) -> NDArray[np.float32]:
    """A piece of the page, with blank paper beyond its edge."""
    left, top = max(-x0, 0), max(-y0, 0)
    right = max(x0 + width - ink.shape[1], 0)
    bottom = max(y0 + height - ink.shape[0], 0)
    piece = ink[max(y0, 0) : y0 + height, max(x0, 0) : x0 + width]
    if left or top or right or bottom:
        piece = np.pad(piece, ((top, bottom), (left, right)))
    return piece


def _correlation(piece: NDArray[np.float32], tile: Tile, peak: float) -> float:
    total = float(tile.weight.sum())
    mean = float(np.vdot(tile.weight, piece)) / total
    energy = float(np.vdot(tile.weight, piece * piece)) - total * mean * mean
    return peak / (tile.norm * float(np.sqrt(max(energy, 1e-6))))


def _summit(surface: NDArray[np.float32], px: int, py: int) -> tuple[float, float]:
    """Offset of a parabola's top from the highest sample, along x and y."""
    left, mid, right = (float(surface[py, px + k]) for k in (-1, 0, 1))
    up, down = float(surface[py - 1, px]), float(surface[py + 1, px])
    bend_x, bend_y = left - 2 * mid + right, up - 2 * mid + down
    dx = 0.5 * (left - right) / bend_x if bend_x < 0 else 0.0
    dy = 0.5 * (up - down) / bend_y if bend_y < 0 else 0.0
    return float(np.clip(dx, -0.6, 0.6)), float(np.clip(dy, -0.6, 0.6))


def _rival(surface: NDArray[np.float32], px: int, py: int, apart: int) -> float:
    other = surface.copy()
    other[max(py - apart, 0) : py + apart + 1, max(px - apart, 0) : px + apart + 1] = 0.0
    return max(float(other.max()), 0.0)
