"""Any opened picture as grey values, some rows at a time so that little memory is needed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from sheet_reader.numbers import INTAKE

Gray = NDArray[np.uint8]
_BAND_PIXELS = INTAKE.band_pixels


def to_gray(image: Image.Image) -> Gray:
    """The picture as uint8 (height, width), on white paper where it is transparent.

    16-bit and floating samples are scaled to 0..255 (floating ones by their own range).
    """
    gray = np.empty((image.height, image.width), dtype=np.uint8)
    if image.mode == "L" and "transparency" not in image.info and _copied(image, gray):
        return gray
    low, span = _range(image) if image.mode in ("I", "F") else (0.0, 1.0)
    for top, band in _bands(image):
        rows = gray[top : top + band.height]
        if image.mode in ("I", "F"):
            rows[:] = np.round((_finite(band) - low) * (255 / span))
        else:
            rows[:] = _band_to_gray(band)
    return gray


def _copied(image: Image.Image, gray: Gray) -> bool:
    """Copies a grey picture into ``gray`` at once, several times as fast as Pillow hands over its
    pixels; False where Pillow gives no picture on that memory, and ``gray`` is not filled.
    """
    if not gray.size:
        return False
    last = image.getpixel((image.width - 1, image.height - 1))
    gray[-1, -1] = 255 - int(last) if isinstance(last, int | float) else 0
    shared = Image.frombuffer("L", image.size, gray, "raw", "L", 0, 1)
    shared.readonly = 0
    shared.paste(image)
    return bool(gray[-1, -1] == last)


def _bands(image: Image.Image) -> Iterator[tuple[int, Image.Image]]:
    """Pieces of the picture's full width, from top to bottom, each with its first row."""
    rows = max(1, _BAND_PIXELS // max(1, image.width))
    for top in range(0, image.height, rows):
        yield top, image.crop((0, top, image.width, min(top + rows, image.height)))


def _band_to_gray(image: Image.Image) -> Gray:
    if image.mode.startswith("I;16"):
        wide = np.asarray(image).astype(np.uint32)
        return ((wide + 128) // 257).astype(np.uint8)
    if image.mode in ("LAB", "HSV"):
        return np.array(image.split()[0 if image.mode == "LAB" else 2], dtype=np.uint8)
    if image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        clear = image.convert("RGBA")
        paper = Image.new("RGBA", clear.size, "white")
        image = Image.alpha_composite(paper, clear)
    return np.array(image if image.mode == "L" else image.convert("L"), dtype=np.uint8)


def _range(image: Image.Image) -> tuple[float, float]:
    """What counts as black, and how far above it white is: 0 and 65,535 where all fits in."""
    extremes = [(float(s.min()), float(s.max())) for s in map(_finite, _only(_bands(image)))]
    low, high = min(e[0] for e in extremes), max(e[1] for e in extremes)
    if low >= 0 and 255 < high <= 65_535:
        return 0.0, 65_535.0
    return low, max(high - low, 1e-12)


def _only(bands: Iterator[tuple[int, Image.Image]]) -> Iterator[Image.Image]:
    return (band for _, band in bands)


def _finite(image: Image.Image) -> NDArray[np.float64]:
    samples = np.asarray(image, dtype=np.float64)
    return np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
