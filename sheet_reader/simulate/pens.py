"""Pens: how strokes become ink. Ballpoint that skips, felt tip, fineliner, pencil."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE

PEN_KINDS = ("ballpoint", "fineliner", "felt tip", "pencil")
_SHARE = (0.45, 0.15, 0.15, 0.25)
_WIDTH = {
    "ballpoint": (0.036, 0.065),
    "fineliner": (0.030, 0.060),
    "felt tip": (0.070, 0.130),
    "pencil": (0.040, 0.085),
}
_DARKNESS = {
    "ballpoint": (0.60, 0.92),
    "fineliner": (0.80, 1.00),
    "felt tip": (0.80, 1.00),
    "pencil": (0.35, 0.75),
}
_SUPER = SIMULATE.oversampling
_SHIFT = 4


@dataclass(frozen=True, slots=True)
class Pen:
    """A pen and how it is held.

    ``width`` is the line's width as a share of the unit box's side (0.05 is 0.5 mm in a box
    9.5 mm high); ``darkness`` 0..1 how much light a full line takes; ``skip`` 0..1 how readily the
    line fades and breaks; ``pressure`` 0..1 how much the width varies along a stroke; ``grain``
    0..1 how much paper shows through the line.
    """

    kind: str
    width: float
    darkness: float
    skip: float
    pressure: float
    grain: float


def random_pen(rng: np.random.Generator, kind: str | None = None) -> Pen:
    """A pen as people bring one. ``kind`` is one of ``PEN_KINDS``, or None for any.

    The ranges are from looking at handwriting (common practice, no source).
    """
    if kind is None:
        kind = str(rng.choice(PEN_KINDS, p=_SHARE))
    skip = rng.beta(1.2, 6.0) if kind == "ballpoint" else rng.beta(1.0, 20.0)
    grain = rng.uniform(0.25, 0.7) if kind == "pencil" else rng.uniform(0.0, 0.1)
    return Pen(
        kind=kind,
        width=float(rng.uniform(*_WIDTH[kind])),
        darkness=float(rng.uniform(*_DARKNESS[kind])),
        skip=float(skip),
        pressure=float(rng.uniform(0.05, 0.4)),
        grain=float(grain),
    )


def render_strokes(
    strokes: Sequence[NDArray[np.floating]], size_px: int, pen: Pen, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Ink of ``strokes`` as float32 (size_px, size_px), 0 bare paper, 1 full black.

    Each stroke is (n, 2), columns x and y in the unit box (x right, y down; 0..1 is inside, what
    lies outside is cut off). A stroke of one point is a dot. Raises ValueError for a size below 1
    or a stroke of another shape.
    """
    if size_px < 1:
        raise ValueError(f"size_px must be at least 1, got {size_px}")
    side = size_px * _SUPER
    canvas = np.zeros((side, side), np.uint8)
    for stroke in strokes:
        points = np.asarray(stroke, np.float64)
        if points.ndim != 2 or points.shape[1] != 2 or not len(points):
            raise ValueError(f"a stroke must be (n, 2) with n at least 1, got {points.shape}")
        _draw_stroke(canvas, _dense(points), pen, rng)
    ink = cv2.resize(canvas, (size_px, size_px), interpolation=cv2.INTER_AREA)
    out = ink.astype(np.float32) * np.float32(pen.darkness / 255.0)
    if pen.grain > 0.0:
        out *= _grain(size_px, pen.grain, rng)
    return np.asarray(np.clip(out, 0.0, 1.0), np.float32)


def _dense(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """The stroke with points about 0.03 apart, so that width and darkness can vary along it."""
    if len(points) == 1:
        return np.vstack([points, points])
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    if along[-1] <= 0.0:
        return points
    wanted = np.linspace(0.0, along[-1], max(2, int(np.ceil(along[-1] / 0.03)) + 1))
    return np.column_stack([np.interp(wanted, along, points[:, axis]) for axis in (0, 1)])


def _draw_stroke(
    canvas: NDArray[np.uint8], points: NDArray[np.float64], pen: Pen, rng: np.random.Generator
) -> None:
    side = canvas.shape[0]
    n = len(points)
    pressure = 1.0 + pen.pressure * (_slow_noise(n, 6.0, rng) * 0.35)
    widths = np.maximum(1, np.round(pen.width * side * pressure)).astype(int)
    level = np.clip(1.0 - np.maximum(0.0, _slow_noise(n, 3.0, rng) - 2.2 + 2.4 * pen.skip), 0, 1)
    fixed = np.round(np.clip(points * side, -4 * side, 5 * side) * (1 << _SHIFT)).astype(int)
    for i in range(n - 1):
        shade = int(255 * level[i])
        cv2.line(
            canvas,
            (int(fixed[i, 0]), int(fixed[i, 1])),
            (int(fixed[i + 1, 0]), int(fixed[i + 1, 1])),
            shade,
            int(widths[i]),
            cv2.LINE_8,
            _SHIFT,
        )


def _slow_noise(n: int, correlation: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Noise of about unit variance along a stroke of ``n`` points."""
    reach = int(correlation)
    raw = rng.standard_normal(n + 2 * reach)
    kernel = np.hanning(2 * reach + 3)[1:-1]
    kernel /= np.sqrt(np.sum(kernel**2))
    return np.asarray(np.convolve(raw, kernel, mode="valid")[:n], np.float64)


def _grain(size_px: int, amount: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Paper tooth: a field of factors (1 - amount)..1."""
    noise = rng.random((size_px, size_px), dtype=np.float32)
    field = np.asarray(cv2.GaussianBlur(noise, (0, 0), max(0.4, size_px / 120.0)), np.float32)
    low, high = np.percentile(field, (5, 95))
    tooth = np.clip((field - low) / max(high - low, 1e-6), 0.0, 1.0)
    return np.asarray(1.0 - amount * (1.0 - tooth), np.float32)
