"""A field's boxes as one picture, and that picture drawn in a terminal."""

from __future__ import annotations

import io
import sys
from collections.abc import Sequence
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from rich.console import Console, RenderableType
from rich.text import Text

from sheet_reader.numbers import REVIEW

PictureMode = Literal["auto", "graphics", "blocks", "plain", "off"]

CROP_ASPECT = REVIEW.crop_aspect
TALLEST_ROWS = REVIEW.tallest_rows
GAP_PX = REVIEW.gap_px
FEW = REVIEW.few_boxes
TRIM_PX = REVIEW.trim_px
INK = REVIEW.ink_level
_INK_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def strip(crops: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The crops, uint8 (n, 64, 64), side by side as on paper: uint8 (64, W).

    The contrast is stretched and a grey gap stands between two; no crop gives a width of 0.
    """
    if len(crops) == 0:
        return np.zeros((64, 0), np.uint8)
    width = round(64 * CROP_ASPECT)
    if len(crops) > FEW:
        crops = crops[:, TRIM_PX:-TRIM_PX, TRIM_PX:-TRIM_PX]
    narrow = [
        np.asarray(Image.fromarray(crop).resize((width, 64), Image.Resampling.BILINEAR))
        for crop in crops
    ]
    gap = np.full((64, GAP_PX), 128, np.uint8)
    parts: list[NDArray[np.uint8]] = []
    for picture in narrow:
        parts += [stretch(picture), gap]
    return np.hstack(parts[:-1])


def picture_of(png: bytes) -> NDArray[np.uint8] | None:
    """A grey picture from PNG bytes, uint8 (H, W); None for b"" or what is no picture."""
    if not png:
        return None
    try:
        with Image.open(io.BytesIO(png), formats=("PNG",)) as picture:
            return np.asarray(picture.convert("L"))
    except (OSError, ValueError):
        return None


def fitted_beside(grays: Sequence[NDArray[np.uint8]]) -> NDArray[np.uint8]:
    """Grey pictures side by side as one, all as high as the highest, a grey gap between two."""
    height = max(gray.shape[0] for gray in grays)
    parts: list[NDArray[np.uint8]] = []
    for gray in grays:
        width = max(1, round(gray.shape[1] * height / gray.shape[0]))
        scaled = Image.fromarray(gray).resize((width, height), Image.Resampling.BILINEAR)
        parts += [np.asarray(scaled), np.full((height, max(GAP_PX, height // 20)), 128, np.uint8)]
    return np.hstack(parts[:-1])


def stretch(gray: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Spread the greys so that paper is white and the darkest ink black; flat areas stay flat."""
    low, high = np.percentile(gray, (1, 90))
    span = max(float(high - low), 60.0)
    spread = 255.0 - (float(high) - gray.astype(np.float64)) * (255.0 / span)
    return np.clip(spread, 0, 255).astype(np.uint8)


def fit(width_px: int, height_px: int, columns: int, rows: int) -> tuple[int, int]:
    """Columns and rows of the largest drawing within bounds; a cell is twice as high as wide."""
    scale = min(columns / width_px, 2 * rows / height_px)
    return max(1, round(width_px * scale)), max(1, round(height_px * scale / 2))


def drawing(
    gray: NDArray[np.uint8], mode: PictureMode, columns: int, rows: int = TALLEST_ROWS
) -> RenderableType | None:
    """``gray`` (H, W) as something a console can print within ``columns`` × ``rows``.

    None where nothing can be drawn.
    """
    if mode == "off" or gray.shape[1] == 0:
        return None
    columns, rows = fit(gray.shape[1], gray.shape[0], columns, rows)
    if mode == "graphics":
        picture: RenderableType = _graphics_class()(Image.fromarray(gray), columns, rows)
        return picture
    if mode == "plain":
        dot = _thickness(gray.shape[1] / columns)
        gray = np.asarray(cv2.erode(gray, np.ones((dot, dot), np.uint8)), np.uint8)
    pixels = np.asarray(Image.fromarray(gray).resize((columns, 2 * rows), Image.Resampling.BOX))
    return half_blocks(pixels) if mode == "blocks" else ink_blocks(pixels)


def _thickness(scale: float) -> int:
    """How wide (px, odd) a dot of ink is made, so that thin strokes outlast shrinking by
    ``scale``.
    """
    return min(2 * int(scale / 3) + 1, 5)


def half_blocks(pixels: NDArray[np.uint8]) -> Text:
    """Grey pixels (2 n, columns), two to a terminal cell: the upper half block in colour."""
    text = Text(no_wrap=True)
    for upper, lower in zip(pixels[0::2].tolist(), pixels[1::2].tolist(), strict=True):
        for top, bottom in zip(upper, lower, strict=True):
            grey, ground = f"#{top:02x}{top:02x}{top:02x}", f"#{bottom:02x}{bottom:02x}{bottom:02x}"
            text.append("▀", style=f"{grey} on {ground}")
        text.append("\n")
    text.right_crop(1)
    return text


def ink_blocks(pixels: NDArray[np.uint8]) -> Text:
    """The same without colours: half blocks where there is ink, blank where there is paper."""
    ink = pixels < INK
    lines = (
        "".join(_INK_BLOCKS[top, bottom] for top, bottom in zip(upper, lower, strict=True))
        for upper, lower in zip(ink[0::2].tolist(), ink[1::2].tolist(), strict=True)
    )
    return Text("\n".join(lines), no_wrap=True)


def settle(mode: PictureMode, console: Console) -> PictureMode:
    """The way to draw on this terminal. Asks it once, so call before the first prompt.

    Graphics need a terminal on both ends (it is asked by escape sequences); blocks need colours.
    """
    if mode != "auto":
        return mode
    if console.no_color or console.color_system in (None, "standard"):
        return "plain"
    if console.is_terminal and sys.stdin.isatty() and sys.stdout.isatty():
        from textual_image.renderable import SixelImage, TGPImage

        if _graphics_class() in (SixelImage, TGPImage):
            return "graphics"
    return "blocks"


def _graphics_class() -> type:
    from textual_image import renderable

    return renderable.Image
