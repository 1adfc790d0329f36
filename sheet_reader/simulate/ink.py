"""Ink on paper: a pen of a colour, and its strokes laid onto a printed sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.pens import Pen, random_pen, render_strokes
from sheet_reader.simulate.printer import Bytes

Ink = NDArray[np.float32]
Stroke = NDArray[np.float64]
_UNIT_MM = SIMULATE.unit_mm
_WIDTHS_MM = SIMULATE.stroke_widths_mm
_BLUE = (0.60, 0.20, 0.10)
_BLACK = (0.08, 0.07, 0.07)
_RED = (0.22, 0.16, 0.72)
_GRAPHITE = (0.22, 0.21, 0.21)


@dataclass(frozen=True, slots=True)
class InkPen:
    """A pen with its colour (``bgr``: what full ink leaves of white light, 0..1 each) at work on a
    raster of ``px_per_mm``.
    """

    pen: Pen
    bgr: tuple[float, float, float]
    px_per_mm: float

    @property
    def width_px(self) -> float:
        """The line's usual width."""
        return float(self.pen.width * _UNIT_MM * self.px_per_mm)

    def draw(
        self, strokes: Sequence[Stroke], shape: tuple[int, int], rng: np.random.Generator
    ) -> Ink:
        """Ink 0..1, float32 ``shape`` (height, width), of polylines (N, 2) given in px."""
        size = max(shape)
        pen = replace(self.pen, width=self.width_px / size)
        ink = render_strokes([(s + 0.5) / size for s in strokes], size, pen, rng)
        return ink[: shape[0], : shape[1]]


def random_ink_pen(px_per_mm: float, rng: np.random.Generator) -> InkPen:
    """A pen from a volunteer's pocket, its line 0.4 to 0.9 mm wide."""
    pen = random_pen(rng)
    low, high = (w / _UNIT_MM for w in _WIDTHS_MM)
    pen = replace(pen, width=float(np.clip(pen.width, low, high)))
    if pen.kind == "pencil":
        return InkPen(pen, _GRAPHITE, px_per_mm)
    colour = (_BLUE, _BLACK, _RED)[int(rng.choice(3, p=[0.55, 0.41, 0.04]))]
    return InkPen(pen, colour, px_per_mm)


def pale_pencil(pen: InkPen, darkness: float) -> InkPen:
    """A pencil with a line as wide as that of ``pen`` that takes ``darkness`` (0..1) of the light,
    less where the paper's grain shows.
    """
    pale = replace(pen.pen, kind="pencil", darkness=darkness, skip=0.05, grain=0.4)
    return replace(pen, pen=pale, bgr=_GRAPHITE)


def lay_ink(paper: Bytes, ink: Ink, top_left: tuple[int, int], pen: InkPen) -> None:
    """Lay ``ink`` (h, w; 0..1) onto ``paper`` (H, W, 3) at ``top_left`` (x, y px), in place."""
    x, y = top_left
    height, width = ink.shape
    left, top = max(0, -x), max(0, -y)
    right = min(width, paper.shape[1] - x)
    bottom = min(height, paper.shape[0] - y)
    if right <= left or bottom <= top:
        return
    part = ink[top:bottom, left:right]
    if pen.pen.kind == "felt tip":  # felt ink runs a little along the fibres
        part = np.maximum(part, cv2.GaussianBlur(part, (0, 0), 0.08 * pen.px_per_mm))
    area = paper[y + top : y + bottom, x + left : x + right]
    rest = 1 - part[..., None] * (1 - np.array(pen.bgr, np.float32))
    area[:] = (area * rest).astype(np.uint8)
