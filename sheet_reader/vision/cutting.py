"""Small pieces of the page cut out of the picture, laid flat."""

from __future__ import annotations

import numpy as np

from sheet_reader.vision.arrays import Float32, Gray
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.surface import Surface


def cut(
    pyramid: Pyramid, surface: Surface, box_mm: tuple[float, float, float, float], scale: float
) -> Gray:
    """A piece of the page laid flat at ``scale`` px per mm, uint8."""
    x, y, w, h = box_mm
    width, height = max(round(w * scale), 8), max(round(h * scale), 8)
    steps = 12
    xs, ys = np.linspace(x, x + w, steps + 1), np.linspace(y, y + h, steps + 1)
    grid = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    nodes = surface.to_px(grid).reshape(steps + 1, steps + 1, 2).astype(np.float32)
    columns = ((np.arange(width) + 0.5) / width * steps).astype(np.float32)
    rows = ((np.arange(height) + 0.5) / height * steps).astype(np.float32)
    places = _interpolate(nodes, rows, columns)
    middle = np.array([[x + w / 2, y + h / 2]])
    depth = pyramid.depth_for(float(surface.px_per_mm(middle)[0]), scale)
    return pyramid.sample(depth, places)


def _interpolate(nodes: Float32, rows: Float32, columns: Float32) -> Float32:
    """Bilinear interpolation of ``nodes`` (R, C, 2) at fractional rows and columns."""
    r = np.minimum(rows.astype(int), nodes.shape[0] - 2)
    c = np.minimum(columns.astype(int), nodes.shape[1] - 2)
    fr, fc = (rows - r)[:, None, None], (columns - c)[None, :, None]
    top = nodes[r][:, c] * (1 - fc) + nodes[r][:, c + 1] * fc
    bottom = nodes[r + 1][:, c] * (1 - fc) + nodes[r + 1][:, c + 1] * fc
    return np.ascontiguousarray(top * (1 - fr) + bottom * fr, dtype=np.float32)
