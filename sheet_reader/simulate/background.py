"""What lies under and beside the sheet: wood, cloth, grass, gravel, stone, other papers.

Textures are uint8 (H, W, 3) tiles of the desk at :data:`TILE_PX_PER_MM`.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.camera import Camera
from sheet_reader.simulate.printer import Bytes, noise_tile

TILE_PX_PER_MM = SIMULATE.desk_px_per_mm
TILE_PX = SIMULATE.desk_px
KINDS = ("wood", "cloth", "grass", "gravel", "stone", "papers")
Floats32 = NDArray[np.float32]


def random_background(camera: Camera, rng: np.random.Generator) -> Bytes:
    """The desk as ``camera`` sees it, uint8 (height, width, 3)."""
    tile = texture(str(rng.choice(KINDS, p=[0.4, 0.15, 0.1, 0.1, 0.15, 0.1])), rng)
    angle = rng.uniform(0, 2 * np.pi)
    c, s = np.cos(angle) / TILE_PX_PER_MM, np.sin(angle) / TILE_PX_PER_MM
    half = TILE_PX / 2
    to_desk = np.array([[c, -s, -half * (c - s)], [s, c, -half * (s + c)], [0, 0, 1.0]])
    matrix = camera.desk_to_px() @ to_desk
    seen = cv2.warpPerspective(
        tile, matrix, (camera.width, camera.height), flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REFLECT,
    )  # fmt: skip
    return np.asarray(seen, np.uint8)


def texture(kind: str, rng: np.random.Generator) -> Bytes:
    """A tile of one of :data:`KINDS`, uint8 (TILE_PX, TILE_PX, 3)."""
    makers = {"wood": _wood, "cloth": _cloth, "grass": _grass, "gravel": _gravel,
              "stone": _stone, "papers": _papers}  # fmt: skip
    return np.asarray(np.clip(makers[kind](rng), 0, 255), np.uint8)


def _cloudy(rng: np.random.Generator, cells: tuple[int, int]) -> Floats32:
    """Smooth noise of unit size with ``cells`` (rows, columns) of detail."""
    small = rng.standard_normal(cells, dtype=np.float32)
    large = cv2.resize(small, (TILE_PX, TILE_PX), interpolation=cv2.INTER_CUBIC)
    return np.asarray(large, np.float32)


def _coloured(level: Floats32, bgr: tuple[float, float, float]) -> Floats32:
    return np.asarray(level[..., None] * np.array(bgr, np.float32), np.float32)


def _wood(rng: np.random.Generator) -> Floats32:
    grain = _cloudy(rng, (200, 5)) * 0.05 + _cloudy(rng, (500, 12)) * 0.04
    rings = np.sin(
        _cloudy(rng, (14, 3)) * 9 + np.linspace(0, 60, TILE_PX, dtype=np.float32)[:, None]
    )
    level = 1 + grain + rings * 0.05 + _cloudy(rng, (6, 6)) * 0.05
    if rng.random() < 0.5:
        plank = int(rng.integers(130, 320))
        level[np.arange(TILE_PX) % plank < 3] *= 0.45
    tone = rng.choice(3)
    colour = ((60, 105, 160), (110, 150, 185), (45, 62, 88))[int(tone)]
    return _coloured(level, colour)


def _cloth(rng: np.random.Generator) -> Floats32:
    step = np.arange(TILE_PX, dtype=np.float32)
    weave = np.sin(step * 2.1)[:, None] * np.sin(step * 2.1)[None, :]
    level = 1 + weave * 0.08 + _cloudy(rng, (8, 8)) * 0.04
    size = int(rng.integers(24, 70))
    bands = (step // size % 2).astype(np.float32)
    check = (bands[:, None] + bands[None, :]) / 2
    first, second = rng.uniform(60, 235, (2, 3)).astype(np.float32)
    if rng.random() < 0.4:
        check[:] = 0
    mixed = first + check[..., None] * (second - first)
    return np.asarray(level[..., None] * mixed, np.float32)


def _grass(rng: np.random.Generator) -> Floats32:
    level = 0.55 + _cloudy(rng, (60, 60)) * 0.12
    tile = np.clip(_coloured(level, (70, 130, 110)), 0, 255).astype(np.uint8)
    starts = rng.uniform(0, TILE_PX, (2600, 2))
    angles = rng.normal(-np.pi / 2, 0.8, 2600)
    for start, angle in zip(starts, angles, strict=True):
        end = start + rng.uniform(20, 70) * np.array([np.cos(angle), np.sin(angle)])
        shade = rng.uniform(0.5, 1.5)
        colour = (50 * shade, 125 * shade, 95 * shade)
        points = [tuple(int(v) for v in p) for p in (start, end)]
        cv2.line(tile, points[0], points[1], colour, int(rng.integers(1, 4)), cv2.LINE_AA)
    return tile.astype(np.float32)


def _gravel(rng: np.random.Generator) -> Floats32:
    tile = _coloured(0.4 + _cloudy(rng, (300, 300)) * 0.1, (105, 110, 115))
    for _ in range(1800):
        centre = tuple(int(v) for v in rng.uniform(0, TILE_PX, 2))
        axes = tuple(int(v) for v in rng.uniform(6, 24, 2))
        angle = float(rng.uniform(0, 180))
        grey = rng.uniform(80, 215) * np.array([1, 1.02, 1.05]) + rng.normal(0, 5, 3)
        below = (centre[0] + 2, centre[1] + 3)
        cv2.ellipse(tile, below, axes, angle, 0, 360, (38, 40, 42), -1, cv2.LINE_AA)
        cv2.ellipse(tile, centre, axes, angle, 0, 360, grey.tolist(), -1, cv2.LINE_AA)
    return tile * (1 + cv2.GaussianBlur(noise_tile(rng, TILE_PX), (0, 0), 1.0) * 0.12)[..., None]


def _stone(rng: np.random.Generator) -> Floats32:
    speck = cv2.GaussianBlur(noise_tile(rng, TILE_PX), (0, 0), rng.uniform(0.8, 3)) * 0.22
    level = 1 + speck + _cloudy(rng, (10, 10)) * 0.07
    base = rng.uniform(50, 225)
    return _coloured(level, (base, base * rng.uniform(0.96, 1.03), base * rng.uniform(0.94, 1.08)))


def _papers(rng: np.random.Generator) -> Floats32:
    """A desk with printed sheets lying about: text lines, tables, boxes."""
    tile = _wood(rng)
    for _ in range(int(rng.integers(3, 7))):
        page = text_page(420, 594, 2.0, rng).astype(np.float32)
        angle, centre = rng.uniform(0, 360), rng.uniform(0, TILE_PX, 2)
        matrix = cv2.getRotationMatrix2D((210, 297), angle, 1.0)
        matrix[:, 2] += centre - np.array([210, 297])
        mask = cv2.warpAffine(np.ones((594, 420), np.float32), matrix, (TILE_PX, TILE_PX))
        laid = cv2.warpAffine(page, matrix, (TILE_PX, TILE_PX))
        tile = tile * (1 - mask[..., None]) + laid[..., None] * mask[..., None]
    return tile


def text_page(width: int, height: int, px_per_mm: float, rng: np.random.Generator) -> Bytes:
    """A page of something else: lines of text, perhaps a table; uint8 grey (height, width)."""
    page = np.full((height, width), 244, np.uint8)
    size = rng.uniform(2.5, 4.5) * px_per_mm
    margin = int(15 * px_per_mm)
    y = margin + size
    letters = list("abcdefghiklmnoprstuvwxyz")
    while y < height - margin:
        if rng.random() < 0.06 and y + 45 * px_per_mm < height - margin:
            _table(page, margin, int(y), width - 2 * margin, int(40 * px_per_mm), rng)
            y += 45 * px_per_mm
            continue
        words = ["".join(rng.choice(letters, int(rng.integers(2, 10)))) for _ in range(24)]
        line = " ".join(words)[: int((width - 2 * margin) / (size * 0.62))]
        cv2.putText(page, line, (margin, int(y)), cv2.FONT_HERSHEY_SIMPLEX, size / 30, 40,
                    max(1, int(size / 12)), cv2.LINE_AA)  # fmt: skip
        y += size * (3.2 if rng.random() < 0.12 else 1.7)
    return page


def _table(page: Bytes, x: int, y: int, width: int, height: int, rng: np.random.Generator) -> None:
    rows, columns = int(rng.integers(3, 7)), int(rng.integers(3, 9))
    for row in range(rows + 1):
        level = y + height * row // rows
        cv2.line(page, (x, level), (x + width, level), 30, 1)
    for column in range(columns + 1):
        place = x + width * column // columns
        cv2.line(page, (place, y), (place, y + height), 30, 1)
    for row in range(rows):
        for column in range(columns):
            spot = (x + width * column // columns + 4, y + height * (row + 1) // rows - 4)
            scale = height / rows / 45
            text = str(rng.integers(100))
            cv2.putText(page, text, spot, cv2.FONT_HERSHEY_SIMPLEX, scale, 60, 1, cv2.LINE_AA)
