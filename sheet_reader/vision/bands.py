"""Shading that runs across a box and goes on beyond it: a fold's shadow, the edge of another.

Ink ends; a shadow does not stop at the printed frame. What darkens a row (or column) of pixels
inside the box and in the free margins to both sides alike is light, not ink, and is levelled out.
"""

from __future__ import annotations

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Array, Float32, Gray, as_array, as_float32
from sheet_reader.vision.crops import inner_slices
from sheet_reader.vision.ranks import medians, quantiles
from sheet_reader.vision.types import CROP_MARGIN_MM, CROP_PX


def without_bands(crops: Gray, boxes_mm: Array) -> Gray:
    """The levelled ``crops`` (N, 64, 64) of boxes (N, 4: x, y, width, height) with bands of shade
    along their rows or columns levelled to paper.
    """
    even = crops.copy()
    sizes, which = np.unique(boxes_mm[:, 2:].round(3), axis=0, return_inverse=True)
    for number, (width, height) in enumerate(sizes.tolist()):
        places = np.flatnonzero(which == number)
        some = even[places]
        _level_rows(some, (width, height))
        _level_rows(some.transpose(0, 2, 1), (height, width))
        even[places] = some
    return even


def _level_rows(crops: Gray, size_mm: tuple[float, float]) -> None:
    """Levels bands along the rows of ``crops`` of boxes of this size, in place."""
    light = _row_light(crops, size_mm)
    for i in np.flatnonzero(light.min(axis=1) <= 1.0 - VISION.box_ink.band).tolist():
        level = np.tile(light[i, :, None].astype(np.float32), (1, CROP_PX))
        even = cv2.divide(crops[i].astype(np.float32), level)
        crops[i] = np.clip(even, 0, 255).astype(np.uint8)


def _row_light(crops: Gray, size_mm: tuple[float, float]) -> Array:
    """How bright the paper of each row is (N, 64), 1 for paper: as bright as the brightest of the
    margins to both sides and the bare paper inside, so that only what darkens all three is shade.
    What is no wider than a pen's line stays: it may be a line that strikes out several boxes.
    """
    own, (width, height) = VISION.box_ink, size_mm
    _, columns = inner_slices((0.0, 0.0, width, height), own.frame_mm)
    edge = max(int((CROP_MARGIN_MM - own.frame_mm) / (width + 2 * CROP_MARGIN_MM) * CROP_PX), 1)
    parts = np.stack([
        medians(crops[:, :, :edge]),
        medians(crops[:, :, -edge:]),
        quantiles(crops[:, :, columns], own.bare_percentile / 100),
    ])  # fmt: skip
    line = round(own.widest_line_mm / (height + 2 * CROP_MARGIN_MM) * CROP_PX)
    profiles = np.ascontiguousarray(parts.reshape(-1, CROP_PX).T, dtype=np.float32)
    soft = _softened(profiles, line).T.reshape(parts.shape)
    return as_array(np.clip(soft.max(axis=0) / VISION.crops.paper, own.darkest_band, 1.0))


def _softened(profiles: Float32, line_px: int) -> Float32:
    """Profiles (64, N) smoothed, without dips that are hardly wider than ``line_px``."""
    wide = cv2.morphologyEx(
        profiles, cv2.MORPH_CLOSE, np.ones((line_px, 1), np.uint8), borderType=cv2.BORDER_REPLICATE
    )
    paper = VISION.crops.paper
    shade = paper - wide >= VISION.box_ink.shade_share * (paper - profiles)
    kept = as_float32(np.where(shade, profiles, wide))
    sd = VISION.box_ink.band_sd_px
    return as_float32(cv2.GaussianBlur(kept, (1, 0), 0, sigmaY=sd, borderType=cv2.BORDER_REPLICATE))
