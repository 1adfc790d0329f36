"""A cheap office printer and its paper: scale, halftone, toner, tint."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.levels import Level

Bytes = NDArray[np.uint8]
PAPER_MM: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
_SCREEN_LINES_PER_MM = SIMULATE.screen_lines_per_mm


@dataclass(frozen=True, slots=True)
class Paper:
    """A printed sheet laid flat. ``bgr`` uint8 (H, W, 3) at ``px_per_mm``. A page point p (mm)
    stands on the paper at ``offset_mm`` + ``scale`` × p, its y stretched by ``stretch`` (uneven
    feed) and all turned by ``turn_rad`` (skewed feed).
    """

    bgr: Bytes
    px_per_mm: float
    scale: float = 1.0
    offset_mm: tuple[float, float] = (0.0, 0.0)
    stretch: float = 1.0
    turn_rad: float = 0.0

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the paper."""
        height, width = self.bgr.shape[:2]
        return width / self.px_per_mm, height / self.px_per_mm

    def place(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Page points (N, 2) to paper points (N, 2), mm."""
        return np.asarray(points_mm @ self._matrix().T + np.array(self.offset_mm))

    def _matrix(self) -> NDArray[np.float64]:
        return feed_matrix(self.scale, self.stretch, self.turn_rad)


def feed_matrix(scale: float, stretch: float, turn_rad: float) -> NDArray[np.float64]:
    """From page mm to paper mm, (2, 2), less the offset."""
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    return np.asarray(scale * np.array([[c, -s], [s, c]]) @ np.diag([1.0, stretch]))


def noise_tile(rng: np.random.Generator, size: int = 512) -> NDArray[np.float32]:
    """White noise of unit deviation, (size, size)."""
    return rng.standard_normal((size, size), dtype=np.float32)


def tiled(tile: NDArray[np.float32], shape: tuple[int, int]) -> NDArray[np.float32]:
    """The tile repeated, mirrored at its seams, to ``shape``."""
    rows, columns = tile.shape[:2]
    mirrored = np.block([[tile, tile[:, ::-1]], [tile[::-1], tile[::-1, ::-1]]])
    times = (-(-shape[0] // (2 * rows)), -(-shape[1] // (2 * columns)))
    return np.asarray(np.tile(mirrored, times)[: shape[0], : shape[1]], np.float32)


def print_page(
    template: Bytes, px_per_mm: float, level: Level, rng: np.random.Generator,
    paper_mm: tuple[float, float] | None = None,
) -> Paper:  # fmt: skip
    """Print a page's raster (uint8 grey, H × W at ``px_per_mm``) onto paper of ``paper_mm``
    (default: the page's own size), "fit to page" at the level's scale and roughly in the middle.
    """
    page_mm = np.array(template.shape[::-1]) / px_per_mm
    sheet_mm = np.array(paper_mm) if paper_mm else page_mm
    fits = float(min(1.0, *(sheet_mm / page_mm)))
    scale = min(rng.uniform(*level.print_scale), fits)
    stretch = 1 + rng.normal(0, level.feed_stretch)
    turn = np.radians(rng.normal(0, level.feed_skew_deg))
    matrix = feed_matrix(scale, stretch, turn)
    offset = (sheet_mm - matrix @ page_mm) / 2 + rng.uniform(-0.6, 0.6, 2)
    size = tuple(round(v) for v in sheet_mm * px_per_mm)
    # Rasters hold pixel i at (i + 0.5) / px_per_mm, warps at i: hence the half pixels.
    move = offset * px_per_mm + matrix @ (0.5, 0.5) - 0.5
    warp = np.column_stack([matrix, move])
    gray = cv2.warpAffine(template, warp, size, flags=cv2.INTER_LINEAR, borderValue=255)
    toner = _toner(np.asarray(gray, np.uint8), px_per_mm, level, rng)
    return Paper(_onto_paper(toner, rng), px_per_mm, scale, (float(offset[0]), float(offset[1])),
                 stretch, float(turn))  # fmt: skip


def _toner(gray: Bytes, px_per_mm: float, level: Level, rng: np.random.Generator) -> Bytes:
    """Halftone, spread, speckle and fading of the print, uint8 (H, W)."""
    shape = (gray.shape[0], gray.shape[1])
    if rng.random() < level.dithered:
        gray = halftone(gray, px_per_mm, rng.uniform(0, np.pi / 2))
    spread = rng.uniform(0.02, 0.05) * px_per_mm
    soft = cv2.GaussianBlur(gray, (0, 0), max(spread, 0.3))
    gain = rng.uniform(-14, 18)  # toner gain: the black grows or shrinks a little
    speck = tiled(noise_tile(rng), shape)
    steep = cv2.addWeighted(soft, 1.5, soft, 0.0, -64.0 - gain)
    fade: NDArray[np.float32] = np.ones(shape[0], np.float32)
    if rng.random() < 0.25:
        rows = np.arange(shape[0]) / px_per_mm
        fade = 1 - rng.uniform(0.05, 0.3) * np.clip(
            np.sin(rows / rng.uniform(8, 60) + rng.uniform(0, 6)), 0, 1
        ).astype(np.float32)
    black = rng.uniform(18, 60)
    depth = (255 - black) / 255 * fade[:, None]
    inked = 255 - (255 - steep) * depth
    inked += speck * (255 - steep) * (rng.uniform(0.01, 0.06) / 1.0)
    inked[speck > rng.uniform(4.0, 4.6)] -= 110
    return np.asarray(np.clip(inked, 0, 255), np.uint8)


def halftone(gray: Bytes, px_per_mm: float, angle_rad: float) -> Bytes:
    """Clustered-dot screen of the greys: black and white only, uint8 (H, W)."""
    tile_px = 512
    index = np.arange(tile_px, dtype=np.float32) * np.float32(
        2 * np.pi * _SCREEN_LINES_PER_MM / px_per_mm
    )
    c, s = np.float32(np.cos(angle_rad)), np.float32(np.sin(angle_rad))
    along = np.cos(index[None, :] * c + index[:, None] * s)
    across = np.cos(index[:, None] * c - index[None, :] * s)
    dot = along + across
    share = np.linspace(0, 1, 257)
    level = np.interp(dot, np.quantile(dot[::4, ::4], share), share * 255)  # greys keep their mean
    screen = tiled(level.astype(np.float32), (gray.shape[0], gray.shape[1]))
    return np.asarray(np.where(gray > screen, 255, 0), np.uint8)


def _onto_paper(toner: Bytes, rng: np.random.Generator) -> Bytes:
    """The print on white, off-white or recycled paper with its fibres, uint8 (H, W, 3)."""
    tint = np.array([250.0, 251.0, 250.0])
    kind = rng.random()
    if kind < 0.25:
        tint = np.array([226.0, 236.0, 240.0]) + rng.uniform(-6, 6)
    elif kind < 0.35:
        tint = np.array([212.0, 236.0, 244.0])
    fibre = cv2.GaussianBlur(noise_tile(rng), (0, 0), 1.2) * rng.uniform(2, 6)
    cloud = cv2.resize(noise_tile(rng, 16), (512, 512), interpolation=cv2.INTER_CUBIC) * 1.2
    texture = tiled(fibre + cloud, toner.shape)
    rough = np.clip(toner + texture, 0, 255).astype(np.uint8)
    levels = np.arange(256, dtype=np.float32)
    table = np.stack([levels * t / 255 for t in tint], axis=1).astype(np.uint8)
    return np.asarray(cv2.LUT(cv2.cvtColor(rough, cv2.COLOR_GRAY2BGR), table[None]), np.uint8)
