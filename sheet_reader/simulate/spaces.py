"""Where a printed page is empty."""

from __future__ import annotations

import numpy as np

from sheet_reader.simulate.printer import Paper


def largest_space(paper: Paper) -> tuple[float, float, float, float]:
    """The largest rectangle without print: x, y, width, height in px. Sought on a 2 mm lattice,
    row by row with the height of free cells above (the largest rectangle under a skyline).
    """
    step = int(2 * paper.px_per_mm)
    rows, columns = paper.bgr.shape[0] // step, paper.bgr.shape[1] // step
    tiles = paper.bgr[: rows * step, : columns * step, 1].reshape(rows, step, columns, step)
    free = tiles.min(axis=(1, 3)) > 140
    margin = int(8 / 2)
    free[:margin] = free[-margin:] = free[:, :margin] = free[:, -margin:] = False
    heights = np.zeros(columns + 1, int)
    best = (0, 0, 0, 0, 0)
    for row in range(rows):
        heights[:columns] = (heights[:columns] + 1) * free[row]
        open_at: list[int] = []
        for column, height in enumerate(heights):
            while open_at and heights[open_at[-1]] >= height:
                high = int(heights[open_at.pop()])
                left = open_at[-1] + 1 if open_at else 0
                best = max(
                    best, (high * (column - left), left, row - high + 1, column - left, high)
                )
            open_at.append(column)
    _, left, top, wide, high = best
    return left * step, top * step, wide * step, high * step
