"""The page laid flat: sampling the picture through the surface, and levelling its light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.vision.surface import Array, Surface, apply_homography

LEVEL_MM = 12.0
"""Closing with a square of this side gives the paper: larger than a filled box, so that a struck
box does not pass for paper. A closing keeps straight edges, so a shadow's edge stays sharp."""
_GRID_MM = 2.0


class Pyramid:
    """The picture and its halves: level ``k`` is reduced by ``2**k``, made when first asked for."""

    def __init__(self, gray: NDArray[np.uint8]) -> None:
        self.levels = [gray]

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width of the full picture."""
        return self.levels[0].shape[0], self.levels[0].shape[1]

    def level(self, depth: int) -> NDArray[np.uint8]:
        """The picture reduced by ``2**depth``, uint8."""
        while len(self.levels) <= depth:
            last = self.levels[-1]
            height, width = last.shape[0] // 2, last.shape[1] // 2
            self.levels.append(
                cv2.resize(
                    last[: 2 * height, : 2 * width], (width, height), interpolation=cv2.INTER_AREA
                )
            )
        return self.levels[depth]

    def depth_for(self, picture_scale: float, wanted_scale: float) -> int:
        """The level whose scale (px per mm) is nearest above 0.85 × ``wanted_scale``."""
        ratio = picture_scale / max(0.85 * wanted_scale, 1e-6)
        most = int(np.log2(max(min(self.shape) / 64, 1)))
        return int(np.clip(np.floor(np.log2(max(ratio, 1.0))), 0, most))

    def sample(self, depth: int, places: NDArray[np.float32]) -> NDArray[np.uint8]:
        """The picture at ``places`` float32 (H, W, 2), x and y in full-picture pixels; 0 beyond
        its edge.
        """
        factor = np.float32(1.0 / 2**depth)
        at = places if depth == 0 else (places + np.float32(0.5)) * factor - np.float32(0.5)
        picture = self.level(depth)
        result: NDArray[np.uint8] = cv2.remap(
            picture, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0
        )
        return result


def page_map(surface: Surface, px_per_mm: float) -> NDArray[np.float32]:
    """Where each pixel of the flat page lies in the picture: float32 (H, W, 2), x and y.

    Pixel (row, column) of the flat page is centred on ((column + ½), (row + ½)) / ``px_per_mm``.
    """
    block = max(round(_GRID_MM * px_per_mm), 1)
    width = round(surface.lattice.width_mm * px_per_mm)
    height = round(surface.lattice.height_mm * px_per_mm)
    xs = (np.arange(-1, -(-width // block) + 1) + 0.5) * block / px_per_mm
    ys = (np.arange(-1, -(-height // block) + 1) + 0.5) * block / px_per_mm
    places = grid_px(surface, xs, ys).astype(np.float32)
    dense = cv2.resize(places, (len(xs) * block, len(ys) * block), interpolation=cv2.INTER_LINEAR)
    result: NDArray[np.float32] = dense[block : block + height, block : block + width]
    return result


def grid_px(surface: Surface, xs: Array, ys: Array) -> Array:
    """Picture pixels (len(ys), len(xs), 2) of a grid of page points."""
    lattice = surface.lattice
    nx, ny = lattice.counts
    bx, _ = lattice.axes(np.stack([xs, np.zeros_like(xs)], axis=1))
    _, by = lattice.axes(np.stack([np.zeros_like(ys), ys], axis=1))
    table = surface.coefficients.reshape(ny, nx, 2)
    moved = np.stack([by @ table[..., c] @ bx.T for c in (0, 1)], axis=-1)
    flat = moved + np.stack(np.meshgrid(xs, ys), axis=-1)
    return apply_homography(surface.homography, flat.reshape(-1, 2)).reshape(*flat.shape)


@dataclass(frozen=True, slots=True)
class FlatPage:
    """The page laid flat at ``px_per_mm``: ``gray`` uint8 (H, W) as photographed, ``level`` uint8
    the paper's brightness there, ``inside`` bool False where the picture shows nothing.
    """

    gray: NDArray[np.uint8]
    level: NDArray[np.uint8]
    inside: NDArray[np.bool_]
    px_per_mm: float

    def ink(self, soften_px: float) -> NDArray[np.float32]:
        """Darkness against the paper, float32 (H, W), 0 paper to 1 black, softened."""
        light = cv2.divide(self.gray, np.maximum(self.level, 1), scale=255.0)
        light = cv2.GaussianBlur(light, (5, 5), soften_px)
        light[~self.inside] = 255
        result: NDArray[np.float32] = (255 - light).astype(np.float32) / np.float32(255.0)
        return result


def paper_level(gray: NDArray[np.uint8], px_per_mm: float) -> NDArray[np.uint8]:
    """The paper's local brightness, uint8 (H, W): ink up to :data:`LEVEL_MM` wide closed."""
    side = round(LEVEL_MM * px_per_mm) | 1
    calm = cv2.blur(gray, (3, 3))
    kernel = np.ones((side, side), dtype=np.uint8)
    level: NDArray[np.uint8] = cv2.morphologyEx(
        calm, cv2.MORPH_CLOSE, kernel, borderType=cv2.BORDER_REPLICATE
    )
    return level


def flatten(pyramid: Pyramid, surface: Surface, px_per_mm: float) -> FlatPage:
    """The page laid flat through ``surface``."""
    centre = np.array([[surface.lattice.width_mm / 2, surface.lattice.height_mm / 2]])
    depth = pyramid.depth_for(float(surface.px_per_mm(centre)[0]), px_per_mm)
    places = page_map(surface, px_per_mm)
    gray = pyramid.sample(depth, places)
    height, width = pyramid.shape
    x, y = places[..., 0], places[..., 1]
    inside = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    return FlatPage(gray, paper_level(gray, px_per_mm), inside, px_per_mm)
