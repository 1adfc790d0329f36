"""The page laid flat: sampling the picture through the surface, and levelling its light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import (
    Array,
    Flags,
    Float32,
    Gray,
    as_array,
    as_float32,
    as_gray,
    look_up,
)
from sheet_reader.vision.surface import Surface, apply_homography


class Pyramid:
    """The picture and its halves: level ``k`` is reduced by ``2**k``, made when first asked for."""

    def __init__(self, gray: Gray) -> None:
        self.levels = [gray]

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width of the full picture."""
        return self.levels[0].shape[0], self.levels[0].shape[1]

    def level(self, depth: int) -> Gray:
        """The picture reduced by ``2**depth``, uint8."""
        while len(self.levels) <= depth:
            last = self.levels[-1]
            height, width = last.shape[0] // 2, last.shape[1] // 2
            even = last[: 2 * height, : 2 * width]
            half = cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA)
            self.levels.append(as_gray(half))
        return self.levels[depth]

    def depth_for(self, picture_scale: float, wanted_scale: float) -> int:
        """The level whose scale (px per mm) is nearest above 0.85 × ``wanted_scale``."""
        ratio = picture_scale / max(0.85 * wanted_scale, 1e-6)
        most = int(np.log2(max(min(self.shape) / 64, 1)))
        return int(np.clip(np.floor(np.log2(max(ratio, 1.0))), 0, most))

    def sample(self, depth: int, places: Float32) -> Gray:
        """The picture at ``places`` float32 (H, W, 2), x and y in full-picture pixels; 0 beyond
        its edge.
        """
        return self.sample_level(depth, at_depth(places, depth))

    def sample_level(self, depth: int, places: Float32) -> Gray:
        """As :meth:`sample`, with ``places`` in pixels of level ``depth``."""
        return look_up(self.level(depth), places)


def at_depth(places: Float32, depth: int) -> Float32:
    """Full-picture pixels as pixels of the level reduced by ``2**depth``."""
    if depth == 0:
        return places
    return (places + np.float32(0.5)) * np.float32(1.0 / 2**depth) - np.float32(0.5)


@dataclass(frozen=True, slots=True)
class PageGrid:
    """A flat page's pixels: ``nodes`` float32 (R, C, 2) every ``block`` pixels lie in the full
    picture; the flat page is ``size`` (width, height) px and begins one block after the nodes.
    """

    nodes: Float32
    block: int
    size: tuple[int, int]

    def dense(self, depth: int) -> Float32:
        """Where each pixel lies in the picture's level ``depth``: float32 (H, W, 2), x and y."""
        rows, columns = self.nodes.shape[:2]
        spread = cv2.resize(
            at_depth(self.nodes, depth), (columns * self.block, rows * self.block),
            interpolation=cv2.INTER_LINEAR,
        )  # fmt: skip
        b, (width, height) = self.block, self.size
        return as_float32(spread)[b : b + height, b : b + width]

    def inside(self, shape: tuple[int, int]) -> Flags | None:
        """Bool (H, W), False where a picture of ``shape`` shows nothing; None if it shows all."""
        x, y = self.nodes[..., 0], self.nodes[..., 1]
        height, width = shape
        if x.min() >= 0 and y.min() >= 0 and x.max() <= width - 1 and y.max() <= height - 1:
            return None
        dense = self.dense(0)
        x, y = dense[..., 0], dense[..., 1]
        seen: Flags = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
        return seen


def page_grid(surface: Surface, px_per_mm: float) -> PageGrid:
    """The pixels of the flat page at ``px_per_mm``.

    Pixel (row, column) is centred on ((column + ½), (row + ½)) / ``px_per_mm`` of the page.
    """
    block = max(round(VISION.flatten.grid_mm * px_per_mm), 1)
    width = round(surface.control_grid.width_mm * px_per_mm)
    height = round(surface.control_grid.height_mm * px_per_mm)
    xs = as_array((np.arange(-1, -(-width // block) + 1) + 0.5) * block / px_per_mm)
    ys = as_array((np.arange(-1, -(-height // block) + 1) + 0.5) * block / px_per_mm)
    return PageGrid(as_float32(grid_px(surface, xs, ys)), block, (width, height))


def grid_px(surface: Surface, xs: Array, ys: Array) -> Array:
    """Picture pixels (len(ys), len(xs), 2) of a grid of page points."""
    control_grid = surface.control_grid
    nx, ny = control_grid.counts
    bx, _ = control_grid.axes(np.stack([xs, np.zeros_like(xs)], axis=1))
    _, by = control_grid.axes(np.stack([np.zeros_like(ys), ys], axis=1))
    table = surface.coefficients.reshape(ny, nx, 2)
    moved = np.stack([by @ table[..., c] @ bx.T for c in (0, 1)], axis=-1)
    flat = moved + np.stack(np.meshgrid(xs, ys), axis=-1)
    return apply_homography(surface.homography, flat.reshape(-1, 2)).reshape(*flat.shape)


@dataclass(frozen=True, slots=True)
class FlatPage:
    """The page laid flat at ``px_per_mm``: ``gray`` uint8 (H, W) as photographed, ``level`` uint8
    the paper's brightness there, ``inside`` bool (H, W) False where the picture shows nothing,
    None where it shows all of the page.
    """

    gray: Gray
    level: Gray
    inside: Flags | None
    px_per_mm: float

    def ink(self, soften_px: float, within_mm: Array | None = None) -> Float32:
        """Darkness against the paper, float32 (H, W), 0 paper to 1 black, softened; 0 beyond the
        rectangle ``within_mm`` (2, 2: first and last x, y) where one is given.
        """
        part = self._part(within_mm)
        light = cv2.divide(self.gray[part], np.maximum(self.level[part], 1), scale=255.0)
        light = as_gray(cv2.GaussianBlur(light, (5, 5), soften_px))
        if self.inside is not None:
            light[~self.inside[part]] = 255
        ink = np.zeros(self.gray.shape, np.float32)
        np.multiply(cv2.bitwise_not(light), np.float32(1.0 / 255.0), out=ink[part])
        return ink

    def _part(self, within_mm: Array | None) -> tuple[slice, slice]:
        if within_mm is None:
            return slice(None), slice(None)
        height, width = self.gray.shape
        corners = np.clip(np.rint(within_mm * self.px_per_mm).astype(int), 0, (width, height))
        (left, top), (right, bottom) = corners.tolist()
        return slice(top, bottom), slice(left, right)

    def seen(self, points_mm: Array) -> Flags:
        """Bool (N,): whether the picture shows these page points (N, 2)."""
        if self.inside is None:
            return np.ones(len(points_mm), dtype=np.bool_)
        height, width = self.inside.shape
        at = np.clip((points_mm * self.px_per_mm).astype(int), 0, (width - 1, height - 1))
        return np.asarray(self.inside[at[:, 1], at[:, 0]])


def paper_level(gray: Gray, px_per_mm: float) -> Gray:
    """The paper's local brightness, uint8 (H, W): ink up to ``level_mm`` wide closed."""
    side = round(VISION.flatten.level_mm * px_per_mm) | 1
    kernel = np.ones((side, side), dtype=np.uint8)
    calm = cv2.blur(gray, (3, 3))
    return as_gray(cv2.morphologyEx(calm, cv2.MORPH_CLOSE, kernel, borderType=cv2.BORDER_REPLICATE))


def flatten(pyramid: Pyramid, surface: Surface, px_per_mm: float) -> FlatPage:
    """The page laid flat through ``surface``."""
    centre = np.array([[surface.control_grid.width_mm / 2, surface.control_grid.height_mm / 2]])
    depth = pyramid.depth_for(float(surface.px_per_mm(centre)[0]), px_per_mm)
    grid = page_grid(surface, px_per_mm)
    gray = pyramid.sample_level(depth, grid.dense(depth))
    return FlatPage(gray, paper_level(gray, px_per_mm), grid.inside(pyramid.shape), px_per_mm)
