"""The page, or a piece of it, laid flat: the picture sampled through the surface, and its light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import (
    Array,
    Box,
    Flags,
    Float32,
    Gray,
    as_array,
    as_float32,
    as_gray,
)
from sheet_reader.vision.surface import FittedSurface, apply_homography


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
        """Level ``depth`` at ``places`` float32 (H, W, 2), x and y in its pixels; 0 beyond its
        edge.
        """
        return as_gray(cv2.remap(self.level(depth), places, None, cv2.INTER_LINEAR))  # type: ignore[call-overload]


def at_depth(places: Float32, depth: int) -> Float32:
    """Full-picture pixels as pixels of the level reduced by ``2**depth``."""
    if depth == 0:
        return places
    return (places + np.float32(0.5)) * np.float32(1.0 / 2**depth) - np.float32(0.5)


@dataclass(frozen=True, slots=True)
class PageGrid:
    """Pixels of the flat page: ``nodes`` float32 (R, C, 2) every ``block`` pixels lie in the full
    picture; what is flat is ``size`` (width, height) px and begins one block after the nodes.
    """

    nodes: Float32
    block: int
    size: tuple[int, int]

    @classmethod
    def of(
        cls, surface: FittedSurface, px_per_mm: float, corner_mm: tuple[float, float],
        size: tuple[int, int],
    ) -> PageGrid:  # fmt: skip
        """A piece of ``size`` (width, height) px at ``px_per_mm`` with its top left at
        ``corner_mm``: pixel (row, column) is centred on (column + ½, row + ½) / ``px_per_mm``.
        """
        block = max(round(VISION.flatten.grid_mm * px_per_mm), 1)
        xs, ys = (
            as_array(first + (np.arange(-1, -(-side // block) + 1) + 0.5) * block / px_per_mm)
            for first, side in zip(corner_mm, size, strict=True)
        )
        return cls(as_float32(grid_px(surface, xs, ys)), block, size)

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
        limit = (shape[1] - 1, shape[0] - 1)
        if self.nodes.min() >= 0 and (self.nodes <= limit).all():
            return None
        dense = self.dense(0)
        x, y = dense[..., 0], dense[..., 1]
        seen: Flags = (x >= 0) & (y >= 0) & (x <= limit[0]) & (y <= limit[1])
        return seen


def page_grid(surface: FittedSurface, px_per_mm: float) -> PageGrid:
    """The pixels of the whole flat page at ``px_per_mm``."""
    page = surface.control_grid
    size = round(page.width_mm * px_per_mm), round(page.height_mm * px_per_mm)
    return PageGrid.of(surface, px_per_mm, (0.0, 0.0), size)


def grid_px(surface: FittedSurface, xs: Array, ys: Array) -> Array:
    """Picture pixels (len(ys), len(xs), 2) of a grid of page points."""
    control_grid = surface.control_grid
    nx, ny = control_grid.counts
    bx, _ = control_grid.axes(np.stack([xs, np.zeros_like(xs)], axis=1))
    _, by = control_grid.axes(np.stack([np.zeros_like(ys), ys], axis=1))
    table = surface.coefficients.reshape(ny, nx, 2)
    moved = np.stack([by @ table[..., c] @ bx.T for c in (0, 1)], axis=-1)
    flat = moved + np.stack(np.meshgrid(xs, ys), axis=-1)
    return apply_homography(surface.homography, flat.reshape(-1, 2)).reshape(*flat.shape)


def cut(pyramid: Pyramid, surface: FittedSurface, box_mm: Box, scale: float) -> Gray:
    """A piece of the page laid flat at ``scale`` px per mm, uint8; 8 px wide and high at least."""
    x, y, w, h = box_mm
    size = max(round(w * scale), 8), max(round(h * scale), 8)
    seen_scale = float(surface.px_per_mm(np.array([[x + w / 2, y + h / 2]]))[0])
    depth = pyramid.depth_for(seen_scale, scale)
    return pyramid.sample(depth, PageGrid.of(surface, scale, (x, y), size).dense(depth))


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
        part = slice(None), slice(None)
        if within_mm is not None:
            corners = np.rint(within_mm * self.px_per_mm).astype(int)
            (left, top), (right, bottom) = np.clip(corners, 0, self.gray.shape[::-1]).tolist()
            part = slice(top, bottom), slice(left, right)
        light = cv2.divide(self.gray[part], np.maximum(self.level[part], 1), scale=255.0)
        light = as_gray(cv2.GaussianBlur(light, (5, 5), soften_px))
        if self.inside is not None:
            light[~self.inside[part]] = 255
        ink = np.zeros(self.gray.shape, np.float32)
        np.multiply(cv2.bitwise_not(light), np.float32(1.0 / 255.0), out=ink[part])
        return ink

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


def flatten(pyramid: Pyramid, surface: FittedSurface, px_per_mm: float) -> FlatPage:
    """The page laid flat through ``surface``."""
    page, grid = surface.control_grid, page_grid(surface, px_per_mm)
    centre = np.array([[page.width_mm / 2, page.height_mm / 2]])
    depth = pyramid.depth_for(float(surface.px_per_mm(centre)[0]), px_per_mm)
    gray = pyramid.sample(depth, grid.dense(depth))
    return FlatPage(gray, paper_level(gray, px_per_mm), grid.inside(pyramid.shape), px_per_mm)
