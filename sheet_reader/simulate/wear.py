"""What a sheet suffers outdoors: rubbed folds, mud, drops, smears."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.levels import Level
from sheet_reader.simulate.printer import Bytes, Paper
from sheet_reader.simulate.surface import Crease, Surface

_CREASE_POINTS = SIMULATE.crease_points
_STAIN_TONES = ((150, 175, 200), (120, 140, 160), (205, 215, 225), (175, 205, 185))


def worn(paper: Paper, surface: Surface, level: Level, rng: np.random.Generator) -> Paper:
    """The paper after a day outside: its creases rubbed, perhaps stained. ``paper`` is kept."""
    stained = rng.random() < level.stained
    if not surface.creases and not stained:
        return paper
    bgr = paper.bgr.copy()
    for crease in surface.creases:
        _rub(bgr, crease, paper.px_per_mm, rng)
    for _ in range(int(rng.integers(1, 5)) if stained else 0):
        _stain(bgr, paper.px_per_mm, rng)
    return replace(paper, bgr=bgr)


def _rub(bgr: Bytes, crease: Crease, px_per_mm: float, rng: np.random.Generator) -> None:
    """Folding rubs the toner off and leaves a light or dark line, in place."""
    ends = np.array([crease.start, crease.end]) * px_per_mm
    steps = np.linspace(0, 1, _CREASE_POINTS)[:, None]
    shake = rng.normal(0, 0.08, (_CREASE_POINTS, 2)) * px_per_mm
    line = np.rint(ends[0] + (ends[1] - ends[0]) * steps + shake).astype(np.int32)
    width = max(1, int(rng.uniform(0.15, 0.5) * px_per_mm))
    x, y, wide, high = cv2.boundingRect(line)
    left, top = max(0, x - 3 * width), max(0, y - 3 * width)
    area = bgr[top : y + high + 3 * width, left : x + wide + 3 * width]
    mask = np.zeros(area.shape[:2], np.uint8)
    cv2.polylines(mask, [line - np.array([left, top], np.int32)], False, 255, width, cv2.LINE_AA)
    soft = cv2.GaussianBlur(mask, (0, 0), max(0.5, width / 3)).astype(np.float32) / 255
    grains = np.clip(rng.random(soft.shape, dtype=np.float32) * 1.4 - 0.2, 0, 1)
    cover = (soft * grains * np.float32(rng.uniform(0.25, 0.7)))[..., None]
    tone = np.float32(rng.choice([255.0, 205.0]))
    area[:] = (area * (1 - cover) + tone * cover).astype(np.uint8)


def _stain(bgr: Bytes, px_per_mm: float, rng: np.random.Generator) -> None:
    """A ragged patch of mud, a dried drop or a smear, in place."""
    side = int(rng.uniform(6, 40) * px_per_mm)
    x, y = (int(rng.uniform(0, 1) * limit) - side // 2 for limit in bgr.shape[1::-1])
    shape = _patch(side, rng)
    if rng.random() < 0.4:  # a dried drop is darkest at its rim
        shape = np.clip(shape - 0.75 * cv2.erode(shape, np.ones((5, 5)), iterations=3), 0, 1)
    top, left = max(0, y), max(0, x)
    area = bgr[top : y + side, left : x + side]
    part = shape[top - y : top - y + area.shape[0], left - x : left - x + area.shape[1]]
    tone = np.array(_STAIN_TONES[int(rng.integers(len(_STAIN_TONES)))], np.float32) / 255
    strength = np.float32(rng.uniform(0.3, 1.0))
    gain = 1 - part[..., None] * (1 - tone) * strength
    area[:] = (area * gain).astype(np.uint8)


def _patch(side: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """A soft ragged blob, float32 (side, side), 0..1."""
    noise = rng.standard_normal((9, 9)).astype(np.float32)
    rough = cv2.resize(noise, (side, side), interpolation=cv2.INTER_CUBIC)
    axis = np.linspace(-1, 1, side, dtype=np.float32)
    dome = 1 - (axis[:, None] ** 2 + axis[None, :] ** 2) * 1.6
    return np.asarray(np.clip((dome + 0.35 * rough) * 4, 0, 1), np.float32)
