"""From a grey crop as photographed to what the network sees: paper level out, ink scaled.

Two views of each crop: how dark it is against the whole crop's paper, and how dark against the
paper close by, scaled so that the darkest ink near the middle counts as full. The first keeps
blackened boxes and faint show-through apart from ink, the second makes pale pencil as clear as a
felt tip. Each 64 × 64 view is folded into four 32 × 32 planes, so that the network spends little
at full resolution.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import DIGITS as NUMBERS

Planes = NDArray[np.float32]
CROP_PX = 64
PLANES = 8
PLANE_PX = 32
BLOCK = 4
GRID = CROP_PX // BLOCK
MIDDLE = slice(6, 26)
NORMALISE = NUMBERS.normalise


def spread_matrix() -> NDArray[np.float32]:
    """(64, 16): smooths a row of block values over 5 blocks and interpolates it to pixels."""
    box, window = np.zeros((GRID, GRID)), NORMALISE.window_blocks
    for i in range(GRID):
        for step in range(-window, window + 1):
            box[i, min(max(i + step, 0), GRID - 1)] += 1.0 / (2 * window + 1)
    centres = (np.arange(CROP_PX) + 0.5) / BLOCK - 0.5
    up = np.zeros((CROP_PX, GRID))
    for pixel, position in enumerate(np.clip(centres, 0, GRID - 1)):
        low = min(int(position), GRID - 2)
        up[pixel, low + 1] = position - low
        up[pixel, low] = 1.0 - up[pixel, low + 1]
    return np.asarray(up @ box, np.float32)


_SPREAD = spread_matrix()
_AVERAGE: Planes = np.asarray(np.repeat(np.eye(GRID), 2, axis=1) / 2, np.float32)


def normalise(crops: NDArray[np.uint8]) -> NDArray[np.float32]:
    """The network's input, float32 (N, 8, 32, 32), for grey crops uint8 (N, 64, 64).

    Planes 0–3 are the first view (−0.25..1, 0 paper), 4–7 the second (0..1.5), each as the pixels
    at even/odd rows and columns in the order (0,0), (0,1), (1,0), (1,1).
    """
    n = len(crops)
    grey = _fold(crops)
    blocks = _AVERAGE @ grey.mean(axis=1) @ _AVERAGE.T
    rank = NORMALISE.paper_rank
    ranked = np.partition(blocks.reshape(n, GRID * GRID), rank, axis=1)[:, rank]
    level = np.maximum(ranked, NORMALISE.paper_floor)[:, None, None]
    local = np.maximum(_SPREAD @ _dilated(blocks) @ _SPREAD.T, NORMALISE.local_share * level)
    planes = np.empty((n, PLANES, PLANE_PX, PLANE_PX), np.float32)
    against_all, against_near = planes[:, :4], planes[:, 4:]
    np.subtract(1.0, grey * (1.0 / level)[:, None], out=against_all)
    np.clip(against_all, -0.25, 1.0, out=against_all)
    np.subtract(1.0, np.divide(grey, _fold(local), out=grey), out=against_near)
    np.maximum(against_near, 0.0, out=against_near)
    ink = against_near[:, :, MIDDLE, MIDDLE].mean(axis=1).max(axis=(1, 2), initial=0.0)
    against_near *= (1.0 / np.maximum(ink, NORMALISE.ink_floor))[:, None, None, None]
    np.minimum(against_near, 1.5, out=against_near)
    return planes


def _dilated(blocks: NDArray[np.float32]) -> NDArray[np.float32]:
    """Largest value within 2 blocks in each direction; (N, 16, 16) to the same."""
    out, window = blocks, NORMALISE.window_blocks
    for axis in (1, 2):
        width = [(0, 0), (0, 0), (0, 0)]
        width[axis] = (window, window)
        wide = np.pad(out, width, mode="edge")
        shifted = [np.take(wide, np.arange(k, k + GRID), axis=axis) for k in range(2 * window + 1)]
        out = np.maximum.reduce(shifted)
    return out


def _fold(view: NDArray[np.uint8] | Planes) -> Planes:
    """(N, 64, 64) to float32 (N, 4, 32, 32)."""
    out = np.empty((len(view), 4, PLANE_PX, PLANE_PX), np.float32)
    for place in range(4):
        out[:, place] = view[:, place // 2 :: 2, place % 2 :: 2]
    return out
