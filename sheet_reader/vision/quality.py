"""How good a photograph is, measured on the markers, and what to do better next time."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Occlusion
from sheet_reader.vision.arrays import Array, as_float32, medians
from sheet_reader.vision.crops import corner_weights
from sheet_reader.vision.findings import BoxView, PhotoQuality
from sheet_reader.vision.flat_page import FlatPage, Pyramid
from sheet_reader.vision.surface import FittedSurface


@dataclass(frozen=True, slots=True)
class Sharpness:
    """Per marker: ``places_mm`` (N, 2), ``blur_mm`` (N,) the Gaussian standard deviation of its
    edges on paper, ``contrast`` (N,) black against the paper beside it, 0..1.
    """

    places_mm: Array
    blur_mm: Array
    contrast: Array

    def at(self, points: Array) -> tuple[Array, Array]:
        """Blur and contrast (N,) at page points (N, 2): the markers', nearest weighing most."""
        if len(self.places_mm) == 0:
            return np.full(len(points), np.nan), np.full(len(points), np.nan)
        apart = np.linalg.norm(points[:, None] - self.places_mm[None], axis=2)
        weight = 1.0 / (apart + 20.0) ** 2
        weight /= weight.sum(axis=1, keepdims=True)
        return weight @ self.blur_mm, weight @ self.contrast


def _edge_spreads(profiles: Array) -> tuple[Array, Array]:
    """Blur (standard deviation in mm) and contrast (N,) of dark-to-light ``profiles`` (N, S);
    blur is NaN where there is no edge.
    """
    own = VISION.quality
    dark = profiles[:, :8].min(axis=1)
    light = np.partition(profiles, -5, axis=1)[:, -5]
    span = light - dark
    rising = (profiles - dark[:, None]) / np.maximum(span, 1.0)[:, None]
    rising = np.maximum.accumulate(rising, axis=1)
    step = 2 * own.profile_mm / (own.samples - 1)
    width = ((rising > 0.16).sum(axis=1) - (rising > 0.84).sum(axis=1)) * step
    blur = np.where(span < 8, np.nan, width / 2.0)
    return blur, np.where(span < 8, 0.0, span / np.maximum(light, 1.0))


def sharpness(pyramid: Pyramid, surface: FittedSurface, corners_mm: list[Array]) -> Sharpness:
    """Blur and contrast at each of the markers with these corners (4, 2) in mm."""
    own = VISION.quality
    if not corners_mm:
        return Sharpness(np.zeros((0, 2)), np.zeros(0), np.zeros(0))
    corners_px = surface.to_px(np.concatenate(corners_mm)).reshape(-1, 4, 2)
    side_mm = float(np.linalg.norm(corners_mm[0][1] - corners_mm[0][0]))
    # points on lines across a marker's four edges, from inside to outside
    t = np.linspace(0.2, 0.8, own.profiles)[:, None]
    s = np.linspace(-own.profile_mm, own.profile_mm, own.samples)[None, :] / side_mm
    t, s = np.broadcast_arrays(t, s)
    u, v = np.stack([t, 1 + s, 1 - t, -s]), np.stack([-s, t, 1 + s, 1 - t])
    weights = as_float32(corner_weights(u, v).reshape(-1, 4))
    places = (weights @ as_float32(corners_px)).reshape(-1, own.samples, 2)
    gray = pyramid.sample(0, places).reshape(-1, own.profiles, own.samples)
    blur, contrast = _edge_spreads(gray.astype(np.float64).mean(axis=1))
    blur, contrast = blur.reshape(-1, 4), contrast.reshape(-1, 4)
    seen = np.isfinite(blur).any(axis=1)
    known = np.full(len(corners_mm), own.unknown_blur_mm)
    known[seen] = np.nanmedian(blur[seen], axis=1)
    centres = np.array([c.mean(axis=0) for c in corners_mm])
    return Sharpness(centres, known, np.median(contrast, axis=1))


def glare_share(flat: FlatPage) -> float:
    """Share (0..1) of the page that is burnt out while the rest of it is not."""
    gray = flat.gray[::4, ::4]
    gray = gray.ravel() if flat.inside is None else gray[flat.inside[::4, ::4]]
    if gray.size == 0:
        return 0.0
    saturated = float((gray >= VISION.quality.saturated).mean())
    return saturated if medians(gray) < VISION.quality.saturated - 10 else 0.0


def what_is_outside(outline_px: Array, shape: tuple[int, int]) -> str:
    """Which part of the page lies outside a picture of ``shape``, "" if none does:
    "right edge", "top left corner".

    ``outline_px`` (4, 2) are the page's corners, clockwise from the printed top left.
    """
    height, width = shape
    over = np.maximum(-outline_px, outline_px - (width - 1, height - 1)).max(axis=1)
    out = over > 0
    if not out.any():
        return ""
    if out.sum() == 2:
        for i, edge in enumerate(("top", "right", "bottom", "left")):
            if out[i] and out[(i + 1) % 4]:
                return f"{edge} edge"
    worst = (int(np.argmin(out)) + 2) % 4 if out.sum() == 3 else int(np.argmax(over))
    return ("top left", "top right", "bottom right", "bottom left")[worst] + " corner"


def advice(
    quality: PhotoQuality, occluded: list[Occlusion], noise: float, outline_px: Array,
    shape: tuple[int, int],
) -> str:  # fmt: skip
    """One sentence that helps most with the next photograph, or "".

    ``occluded`` are the boxes' reasons, ``noise`` the paper's (standard deviation, share of its
    brightness), ``outline_px`` (4, 2) the page's corners in a picture of ``shape``.
    """
    own = VISION.quality
    if Occlusion.OUTSIDE in occluded:
        part = what_is_outside(outline_px, shape)
        what = f"{part} is outside the picture" if part else "print is partly outside"
        return f"Please photograph the whole sheet: its {what}."
    if Occlusion.COVERED in occluded:
        return "Please keep fingers and other things off the boxes: some are covered."
    if Occlusion.SATURATED in occluded or quality.glare_share > own.glare_share:
        return "Please turn away from the lamp or the sun: a bright reflection lies on the sheet."
    if quality.px_per_mm < own.fewest_px_per_mm:
        return _step_closer(outline_px, shape)
    if quality.blur_mm > own.most_blur_mm:
        return "Please hold still and tap the sheet to focus: the picture is blurred."
    if quality.contrast < own.least_contrast or noise > own.most_noise * quality.contrast:
        return "Please find more light: ink and paper can hardly be told apart."
    if any(occluded):
        return "Please lay the sheet flat: some boxes could not be found."
    return ""


def _step_closer(outline_px: Array, shape: tuple[int, int]) -> str:
    share = cv2.contourArea(outline_px.astype(np.float32)) / (shape[0] * shape[1])
    if share > 0.6:
        return "Please send the photograph in its full size: it has been made too small."
    parts = {0.5: "half", 0.33: "a third", 0.25: "a quarter", 0.2: "a fifth", 0.1: "a tenth"}
    nearest = min(parts, key=lambda p: abs(p - share))
    return f"Please step closer: the sheet fills only {parts[nearest]} of the picture."


def photo_quality(
    boxes: tuple[BoxView, ...], outline_px: Array, shape: tuple[int, int], sharp: Sharpness,
    glare: float, noise: float,
) -> PhotoQuality:  # fmt: skip
    """The whole sheet's quality from its boxes and markers; ``shape`` is the picture's, ``glare``
    the share of the paper that is burnt out, ``noise`` the paper's (share of its brightness).
    """
    occluded = [b.occluded for b in boxes if b.occluded]
    scale, blur, contrast = (
        float(np.median(values)) if len(values) else 0.0
        for values in ([b.px_per_mm for b in boxes], sharp.blur_mm, sharp.contrast)
    )
    measured = PhotoQuality(scale, blur, contrast, len(occluded), glare)
    return replace(measured, advice=advice(measured, occluded, noise, outline_px, shape))
