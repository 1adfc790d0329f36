"""Thumbs that hold the sheet, and with them hide a marker or a box."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.simulate.mapping import SheetMap
from sheet_reader.simulate.printer import Bytes

Floats = NDArray[np.float64]
_SHIFT = 4
_FAR_PX = 1e5


def random_thumbs(
    count: int, outline_mm: tuple[float, float], targets_mm: Sequence[tuple[float, float]],
    rng: np.random.Generator,
) -> list[Floats]:  # fmt: skip
    """Outlines (N, 2) in paper mm of ``count`` thumbs reaching in over the paper's edge, two in
    three over one of ``targets_mm`` (the markers).
    """
    thumbs = []
    for _ in range(count):
        width, height = outline_mm
        if targets_mm and rng.random() < 0.67:
            tip = np.array(targets_mm[int(rng.integers(len(targets_mm)))])
            tip = tip + rng.normal(0, 2.5, 2)
        else:
            tip = rng.uniform(0, 1, 2) * np.array([width, height])
        gaps = np.array([tip[0], width - tip[0], tip[1], height - tip[1]])
        side = int(np.argmin(gaps))
        inward = np.array([(1, 0), (-1, 0), (0, 1), (0, -1)][side], np.float64)
        reach = min(gaps[side], 26.0) + 5.0
        start = tip - inward * gaps[side]
        lean = rng.normal(0, 0.35)
        c, s = np.cos(lean), np.sin(lean)
        axis = np.array([[c, -s], [s, c]]) @ inward
        thumbs.append(_capsule(start + axis * reach, axis, rng.uniform(8, 11)))
    return thumbs


def _capsule(tip: Floats, axis: Floats, radius: float) -> Floats:
    """A thumb's outline: round tip, a little narrower behind it, then the ball of the hand,
    running out of the picture. Points 0, 12 and 24 are one side, the tip and the other side.
    """
    across = np.array([-axis[1], axis[0]])
    turns = np.linspace(-np.pi / 2, np.pi / 2, 25)[:, None]
    centre = tip - axis * radius
    round_tip = centre + radius * (np.cos(turns) * axis * 1.15 + np.sin(turns) * across)
    profile = [(14, 0.92), (28, 1.05), (60, 1.25), (85, 2.2), (110, 4.0), (420, 4.5)]
    back = [centre - axis * far + across * radius * wide for far, wide in profile]
    front = [centre - axis * far - across * radius * wide for far, wide in reversed(profile)]
    return np.vstack([round_tip, back, front])


def paint_thumb(
    scene: Bytes, cover: Bytes, sheet: SheetMap, thumb_mm: Floats, rng: np.random.Generator
) -> None:
    """Paint a thumb (outline in paper mm) onto ``scene`` (H, W, 3) and its mask into ``cover``
    (H, W), both in place; with shade towards its edges, a nail, and a shadow on the paper.
    """
    seen = sheet.to_px(thumb_mm)
    scale = float(np.linalg.norm(seen[1] - seen[23]) / np.linalg.norm(thumb_mm[1] - thumb_mm[23]))
    pad = 14 * scale
    low = np.maximum(np.floor(seen.min(axis=0) - pad).astype(int), 0)
    high = np.minimum(np.ceil(seen.max(axis=0) + pad).astype(int), cover.shape[::-1])
    if np.any(high - low < 2):
        return
    area = scene[low[1] : high[1], low[0] : high[0]]
    shape = area.shape[:2]
    mask = _polygon(seen - low, shape)
    drop = _polygon(seen - low + rng.uniform(-4, 4, 2) * scale, shape)
    dark = 1 - np.float32(0.45) * _soft(drop, 2.5 * scale)
    skin = np.array([[110, 140, 205], [70, 95, 150], [45, 62, 100], [130, 165, 225]][
        int(rng.integers(4))
    ], np.float32)  # fmt: skip
    body = np.clip(_soft(mask, 3.5 * scale) * 1.5 - 0.35, 0.3, 1.0)
    mottle = cv2.resize(rng.standard_normal((12, 12), dtype=np.float32), shape[::-1],
                        interpolation=cv2.INTER_CUBIC)  # fmt: skip
    flesh = (body * (1 + 0.04 * mottle))[..., None] * skin
    nail = _polygon(_nail(thumb_mm, sheet) - low, shape)
    flesh = flesh * (1 + nail[..., None] * np.array([0.25, 0.2, 0.1], np.float32))
    soft = _soft(mask, 0.25 * scale)[..., None]
    area[:] = np.clip(area * dark[..., None] * (1 - soft) + flesh * soft, 0, 255).astype(np.uint8)
    occluded = cover[low[1] : high[1], low[0] : high[0]]
    np.maximum(occluded, (mask > 0.5).astype(np.uint8) * 255, out=occluded)


def _nail(thumb_mm: Floats, sheet: SheetMap) -> Floats:
    tip, left, right = thumb_mm[12], thumb_mm[0], thumb_mm[24]
    middle = (left + right) / 2
    axis, across = (tip - middle) * 0.42, (right - left) * 0.3
    turns = np.linspace(0, 2 * np.pi, 30)[:, None]
    return sheet.to_px(
        middle + (tip - middle) * 0.4 + np.cos(turns) * axis + np.sin(turns) * across
    )


def _polygon(points: Floats, shape: tuple[int, ...]) -> NDArray[np.float32]:
    mask = np.zeros(shape[:2], np.uint8)
    near = np.clip(np.nan_to_num(points), -_FAR_PX, _FAR_PX)  # a point can lie on the horizon
    fixed = np.rint(near * 2**_SHIFT).astype(np.int32)
    cv2.fillPoly(mask, [fixed], 255, cv2.LINE_AA, _SHIFT)
    return mask.astype(np.float32) / np.float32(255)


def _soft(mask: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    factor = max(1, int(sigma / 2.5))
    small = cv2.resize(mask, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), max(sigma / factor, 0.5))
    return np.asarray(cv2.resize(small, mask.shape[::-1]), np.float32)
