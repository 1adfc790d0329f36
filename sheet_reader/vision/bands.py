"""Shading that runs across a box and goes on beyond it: a fold's shadow, the edge of another.

Ink ends; a shadow does not stop at the printed frame. What darkens a row (or column) of pixels
inside the box and in the free margins to both sides alike is light, not ink, and is levelled out.
"""

from __future__ import annotations

import cv2
import numpy as np

from sheet_reader.vision.arrays import Array, Float32, Gray, as_array, as_float32, as_gray
from sheet_reader.vision.crops import inner_slices
from sheet_reader.vision.parameters import VISION
from sheet_reader.vision.types import CROP_MARGIN_MM, CROP_PX

Box = tuple[float, float, float, float]


def without_bands(crop: Gray, box_mm: Box) -> Gray:
    """The levelled ``crop`` (64, 64) of a box of this size with bands of shade along its rows or
    columns levelled to paper; the same array where there is none.
    """
    for upright in (False, True):
        turned = crop.T if upright else crop
        size = (box_mm[3], box_mm[2]) if upright else (box_mm[2], box_mm[3])
        light = _row_light(as_float32(turned), size)
        if light.min() > 1.0 - VISION.box_ink.band:
            continue
        level = np.tile(light[:, None].astype(np.float32), (1, CROP_PX))
        even = cv2.divide(turned.astype(np.float32), level)
        crop = as_gray(np.clip(even.T if upright else even, 0, 255).astype(np.uint8))
    return np.ascontiguousarray(crop)


def _row_light(calm: Float32, size_mm: tuple[float, float]) -> Array:
    """How bright the paper of each row is (64,), 1 for paper: as bright as the brightest of the
    margins to both sides and the bare paper inside, so that only what darkens all three is shade.
    What is no wider than a pen's line stays: it may be a line that strikes out several boxes.
    """
    own, (width, height) = VISION.box_ink, size_mm
    _, columns = inner_slices((0.0, 0.0, width, height), own.frame_mm)
    edge = max(int((CROP_MARGIN_MM - own.frame_mm) / (width + 2 * CROP_MARGIN_MM) * CROP_PX), 1)
    parts = [
        np.median(calm[:, :edge], axis=1),
        np.median(calm[:, -edge:], axis=1),
        np.percentile(calm[:, columns], own.bare_percentile, axis=1),
    ]
    line = round(own.widest_line_mm / (height + 2 * CROP_MARGIN_MM) * CROP_PX)
    soft = [_softened(as_float32(part.reshape(-1, 1)), line) for part in parts]
    bright = np.max(np.stack(soft), axis=0).ravel() / VISION.crops.paper
    return as_array(np.clip(bright, own.darkest_band, 1.0))


def _softened(profile: Float32, line_px: int) -> Float32:
    """The profile (64, 1) smoothed, without dips that are hardly wider than ``line_px``."""
    wide = cv2.morphologyEx(
        profile, cv2.MORPH_CLOSE, np.ones((line_px, 1), np.uint8), borderType=cv2.BORDER_REPLICATE
    )
    paper = VISION.crops.paper
    shade = paper - wide >= VISION.box_ink.shade_share * (paper - profile)
    kept = as_float32(np.where(shade, profile, wide))
    sd = VISION.box_ink.band_sd_px
    return as_float32(cv2.GaussianBlur(kept, (1, 0), 0, sigmaY=sd, borderType=cv2.BORDER_REPLICATE))
