"""Light on the sheet: gradient, vignette, shadows, the bent paper's own shading, glare."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.levels import Level

Floats32 = NDArray[np.float32]
_GAMMA = SIMULATE.gamma


@dataclass(frozen=True, slots=True)
class Light:
    """Fields over a picture at reduced size: ``gain`` multiplies what is seen (gamma encoded,
    about 1), ``glare`` (0..) is added to it as a share of full white.
    """

    gain: Floats32
    glare: Floats32


def random_light(
    level: Level, shape: tuple[int, int], px_per_mm: float, rng: np.random.Generator
) -> Light:
    """Light over a field of ``shape`` (rows, columns), ``px_per_mm`` field pixels to a mm."""
    rows, columns = shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    y = y / rows - np.float32(0.5)
    x = x / columns - np.float32(0.5)
    angle = rng.uniform(0, 2 * np.pi)
    slope = np.float32(rng.uniform(*level.gradient))
    gain = 1 - slope * (0.5 + x * np.float32(np.cos(angle)) + y * np.float32(np.sin(angle)))
    gain *= 1 - np.float32(rng.uniform(0.05, 0.3)) * (x**2 + y**2)
    if rng.random() < level.shadow:
        for _ in range(1 + int(rng.random() < 0.35)):
            gain *= _shadow(level, shape, px_per_mm, rng)
    glare = np.zeros(shape, np.float32)
    if rng.random() < level.glare:
        glare = _glare(level, shape, px_per_mm, rng)
    return Light(np.asarray(gain**_GAMMA, np.float32), glare)


def shading(slopes: NDArray[np.float64], rng: np.random.Generator) -> Floats32:
    """Gain (N,) of paper leaning by ``slopes`` (N, 2: rise over run) under a lamp aside and the
    open sky; flat paper gives 1 (Lambert's law).
    """
    side, ambient = rng.uniform(0, 2 * np.pi), rng.uniform(0.4, 0.8)
    low = np.tan(np.radians(rng.uniform(20, 65)))
    lean = (slopes[:, 0] * np.cos(side) + slopes[:, 1] * np.sin(side)) * low
    lit = np.clip(1 - lean, 0, None) / np.sqrt(1 + np.sum(slopes**2, axis=1))
    return np.asarray((ambient + (1 - ambient) * lit) ** _GAMMA, np.float32)


def _shadow(
    level: Level, shape: tuple[int, int], px_per_mm: float, rng: np.random.Generator
) -> Floats32:
    """A hand's, phone's or window frame's shadow with a hard or soft edge: gain (rows, columns)."""
    rows, columns = shape
    mask = np.zeros(shape, np.uint8)
    kind = rng.choice(["edge", "bar", "blob", "leaves"], p=[0.35, 0.2, 0.3, 0.15])
    size = np.array([columns, rows])
    middle = rng.uniform(0.2, 0.8, 2) * size
    angle = rng.uniform(0, 2 * np.pi)
    along = np.array([np.cos(angle), np.sin(angle)]) * size.max() * 2
    across = np.array([-np.sin(angle), np.cos(angle)]) * size.max()
    depth = 2.0 if kind == "edge" else rng.uniform(0.06, 0.3)
    if kind in ("edge", "bar"):
        corners = [middle - along, middle + along, middle + along + across * depth,
                   middle - along + across * depth]  # fmt: skip
        cv2.fillPoly(mask, [np.rint(np.array(corners)).astype(np.int32)], 255)
    elif kind == "blob":
        turns = np.linspace(0, 2 * np.pi, 40)
        radius = 1 + 0.25 * np.sin(turns * 2 + rng.uniform(0, 6)) + 0.15 * np.sin(turns * 3)
        reach = size * rng.uniform(0.25, 0.6)
        edge = (
            middle
            + along / 5
            + np.column_stack([np.cos(turns), np.sin(turns)]) * (reach * radius[:, None])
        )
        cv2.fillPoly(mask, [np.rint(edge).astype(np.int32)], 255)
    else:
        for _ in range(int(rng.integers(15, 50))):
            spot = tuple(int(v) for v in rng.uniform(0, 1, 2) * size)
            axes = tuple(int(v) + 1 for v in rng.uniform(0.02, 0.09, 2) * size.min())
            cv2.ellipse(mask, spot, axes, float(rng.uniform(0, 180)), 0, 360, 255, -1)
    low, high = np.log(level.shadow_edge_mm)
    sigma = max(0.4, float(np.exp(rng.uniform(low, high))) * px_per_mm / 2.5)
    soft = _wide_blur(np.asarray(mask / 255, np.float32), sigma)
    return np.asarray(1 - soft * np.float32(1 - rng.uniform(*level.shadow_gain)), np.float32)


def _wide_blur(field: Floats32, sigma: float) -> Floats32:
    factor = max(1, int(sigma / 3))
    small = cv2.resize(field, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma / factor)
    full = cv2.resize(small, field.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(full, np.float32)


def _glare(
    level: Level, shape: tuple[int, int], px_per_mm: float, rng: np.random.Generator
) -> Floats32:
    """A lamp's or window's reflection, strongest in its middle: (rows, columns), 0.."""
    rows, columns = shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    x0, y0 = rng.uniform(0.1, 0.9, 2) * np.array([columns, rows])
    angle = rng.uniform(0, np.pi)
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    along = (x - np.float32(x0)) * c + (y - np.float32(y0)) * s
    across = (y - np.float32(y0)) * c - (x - np.float32(x0)) * s
    wide, long = rng.uniform(8, 22) * px_per_mm, rng.uniform(12, 45) * px_per_mm
    peak = np.float32(rng.uniform(*level.glare_peak))
    return np.asarray(
        peak * np.exp(-((across / np.float32(wide)) ** 2 + (along / np.float32(long)) ** 2)),
        np.float32,
    )
