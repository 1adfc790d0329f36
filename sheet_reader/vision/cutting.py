"""Small pieces of the page cut out of the picture, laid flat."""

from __future__ import annotations

import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Gray, as_array, as_float32
from sheet_reader.vision.flatten import PageGrid, Pyramid, grid_px
from sheet_reader.vision.surface import Surface


def cut(
    pyramid: Pyramid, surface: Surface, box_mm: tuple[float, float, float, float], scale: float
) -> Gray:
    """A piece of the page laid flat at ``scale`` px per mm, uint8."""
    x, y, w, h = box_mm
    width, height = max(round(w * scale), 8), max(round(h * scale), 8)
    block = max(round(VISION.flatten.grid_mm * scale), 1)
    xs = as_array(x + (np.arange(-1, -(-width // block) + 1) + 0.5) * block / scale)
    ys = as_array(y + (np.arange(-1, -(-height // block) + 1) + 0.5) * block / scale)
    grid = PageGrid(as_float32(grid_px(surface, xs, ys)), block, (width, height))
    middle = np.array([[x + w / 2, y + h / 2]])
    depth = pyramid.depth_for(float(surface.px_per_mm(middle)[0]), scale)
    return pyramid.sample_level(depth, grid.dense(depth))
