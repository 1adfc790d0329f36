"""The boxes cut out, levelled, and freed of bands of shade and of the neighbour's ink.

Shading runs across a box and goes on beyond it: a fold's shadow, the edge of another. Ink ends; a
shadow does not stop at the printed frame. What darkens a row (or column) of pixels inside the box
and in the free margins to both sides alike is light, not ink, and is levelled out.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import (
    Array,
    Box,
    Float32,
    Gray,
    as_array,
    as_float32,
    as_gray,
    medians,
    quantiles,
)
from sheet_reader.vision.findings import CROP_MARGIN_MM, CROP_PX
from sheet_reader.vision.flat_page import FlatPage, Pyramid, at_depth
from sheet_reader.vision.surface import FittedSurface


def corner_weights(u: Array | Float32, v: Array | Float32) -> NDArray[np.floating]:
    """Bilinear weights (..., 4) of a quadrilateral's corners, clockwise from top left, for places
    at the shares ``u`` (from left to right) and ``v`` (from top to bottom) of its sides.
    """
    return np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v], axis=-1)


_MIDDLES = (np.arange(CROP_PX, dtype=np.float32) + 0.5) / CROP_PX
_WEIGHTS = np.ascontiguousarray(corner_weights(*np.meshgrid(_MIDDLES, _MIDDLES)).reshape(-1, 4))
"""Weights (CROP_PX², 4) of a quadrilateral's corners for each pixel of a crop."""


def of_each_size(boxes_mm: Array) -> Iterator[tuple[float, float, NDArray[np.intp]]]:
    """Width and height (mm) that some of the boxes (N, 4: x, y, width, height) have, and which."""
    sizes, which = np.unique(boxes_mm[:, 2:].round(3), axis=0, return_inverse=True)
    for number, (width, height) in enumerate(sizes.tolist()):
        yield width, height, np.flatnonzero(which == number)


def crop_quads(boxes_mm: Array, shift_mm: Array) -> Array:
    """Corners (N, 4, 2) in page mm of what each crop shows, for boxes (N, 4) x, y, width, height
    moved by ``shift_mm`` (N, 2).
    """
    x0, y0 = (boxes_mm[:, :2] - CROP_MARGIN_MM).T
    x1, y1 = (boxes_mm[:, :2] + boxes_mm[:, 2:] + CROP_MARGIN_MM).T
    quads = np.stack([x0, y0, x1, y0, x1, y1, x0, y1], axis=1).reshape(-1, 4, 2)
    return as_array(quads + shift_mm[:, None, :])


def _at_corners(picture: Gray, corners: Float32, border: int = cv2.BORDER_CONSTANT) -> Gray:
    """``picture`` at all crops' pixels inside ``corners`` (N, 4, 2): (N · CROP_PX, CROP_PX)."""
    x, y = ((corners[..., axis] @ _WEIGHTS.T).reshape(-1, CROP_PX) for axis in (0, 1))
    return as_gray(cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=border))


def cut_crops(
    pyramid: Pyramid, surface: FittedSurface, flat: FlatPage, quads: Array, level_shift: Array
) -> Gray:
    """Crops levelled to the grey of blank paper, uint8 (N, 64, 64).

    ``quads`` (N, 4, 2) in page mm; ``level_shift`` (N, 2) mm leads from there to the same place
    on the flat page, which may have been made through an earlier surface.
    """
    if len(quads) == 0:
        return np.zeros((0, CROP_PX, CROP_PX), dtype=np.uint8)
    scale = float(np.median(surface.px_per_mm(quads.mean(axis=1))))
    sides = np.linalg.norm(quads[:, 1] - quads[:, 0], axis=1)
    depth = pyramid.depth_for(scale, CROP_PX / float(np.median(sides)))
    corners = surface.to_px(quads.reshape(-1, 2)).reshape(-1, 4, 2)
    gray = _at_corners(pyramid.level(depth), at_depth(as_float32(corners), depth))
    on_flat = (quads + level_shift[:, None, :]) * flat.px_per_mm - 0.5
    level = _at_corners(flat.level, as_float32(on_flat), cv2.BORDER_REPLICATE)
    white = VISION.crops.paper / paper_ratio(flat)
    even = as_gray(cv2.divide(gray, np.maximum(level, 1), scale=white))
    return even.reshape(-1, CROP_PX, CROP_PX)


def paper_ratio(flat: FlatPage) -> float:
    """How bright blank paper is against its level: just under 1, lower in noisy pictures."""
    gray, level = (part[::7, ::7].astype(np.float32) for part in (flat.gray, flat.level))
    ratio = gray / np.maximum(level, 1.0)
    inside = True if flat.inside is None else flat.inside[::7, ::7]
    blank = ratio[(ratio > 0.75) & inside]
    return float(medians(blank)) if blank.size > 50 else 0.97


def inner_slices(box_mm: Box, inset_mm: float) -> tuple[slice, slice]:
    """Rows and columns of a crop that lie inside the box by at least ``inset_mm``."""
    width, height = box_mm[2] + 2 * CROP_MARGIN_MM, box_mm[3] + 2 * CROP_MARGIN_MM
    inset = CROP_MARGIN_MM + inset_mm
    x0, y0 = round(inset / width * CROP_PX), round(inset / height * CROP_PX)
    return slice(y0, CROP_PX - y0), slice(x0, CROP_PX - x0)


def ink_shares(crops: list[Gray], boxes_mm: Array) -> tuple[Array, float]:
    """Share (N,) of each box's inside, away from its frame, that is dark, and the noise of the
    paper between (standard deviation, share of the paper's brightness) over all boxes.

    Dark is what lies below the box's own ground by a tenth, or by four times the noise.
    """
    own, shares = VISION.crops, np.zeros(len(crops))
    if not crops:
        return shares, 0.0
    calm = as_gray(cv2.blur(np.concatenate(crops), (3, 3))).reshape(-1, CROP_PX, CROP_PX)
    depths = []
    for width, height, places in of_each_size(boxes_mm):
        rows, columns = inner_slices((0.0, 0.0, width, height), own.ink_inset_mm)
        inside = calm[places][:, rows, columns].reshape(len(places), -1)
        rank = inside.shape[1] * 3 // 4
        # as int32, which numpy ranks several times as fast as bytes
        ground = np.partition(inside.astype(np.int32), rank, axis=1)[:, rank : rank + 1]
        depth = np.maximum(ground.astype(np.int16), own.darkest_ground) - inside
        depths.append((places, depth))
    middle = np.concatenate([medians(np.abs(depth)) for _, depth in depths])
    noise = float(np.median(middle)) / own.mad / own.paper
    least = max(own.faintest, 4.0 * noise) * own.paper
    for places, depth in depths:
        shares[places] = (depth > least).mean(axis=1)
    return shares, noise


def remove_neighbour_ink(crop: Gray, box_mm: Box) -> Gray:
    """The crop without strokes that come in over its left or right edge and stay out of the box.

    Such strokes belong to the neighbour's digit. A stroke that goes well into the box stays.
    """
    _, inside = inner_slices(box_mm, 0.45)
    ink = VISION.crops.paper * (1.0 - VISION.crops.ink)
    rim = crop[:, [0, 1, -2, -1]]
    if rim.min() > ink:
        return crop
    dark = (crop < ink).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
    foreign = np.zeros_like(dark)
    for label in np.setdiff1d(labels[:, [0, 1, -2, -1]], 0).tolist():
        within = np.count_nonzero(labels[:, inside] == label)
        if within < 0.25 * stats[label, cv2.CC_STAT_AREA]:
            foreign[labels == label] = 1
    if not foreign.any():
        return crop
    cleaned = crop.copy()
    cleaned[cv2.dilate(foreign, np.ones((3, 3), np.uint8)) > 0] = round(VISION.crops.paper)
    return cleaned


def without_bands(crops: Gray, boxes_mm: Array) -> Gray:
    """The levelled ``crops`` (N, 64, 64) of boxes (N, 4: x, y, width, height) with bands of shade
    along their rows or columns levelled to paper.
    """
    even = crops.copy()
    for width, height, places in of_each_size(boxes_mm):
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
    bare = quantiles(crops[:, :, columns], own.bare_percentile / 100)
    parts = np.stack([medians(crops[:, :, :edge]), medians(crops[:, :, -edge:]), bare])
    line = round(own.widest_line_mm / (height + 2 * CROP_MARGIN_MM) * CROP_PX)
    profiles = np.ascontiguousarray(parts.reshape(-1, CROP_PX).T, dtype=np.float32)
    paper, beyond = VISION.crops.paper, cv2.BORDER_REPLICATE
    kernel = np.ones((line, 1), np.uint8)
    wide = cv2.morphologyEx(profiles, cv2.MORPH_CLOSE, kernel, borderType=beyond)
    shade = paper - wide >= own.shade_share * (paper - profiles)
    kept = as_float32(np.where(shade, profiles, wide))
    soft = cv2.GaussianBlur(kept, (1, 0), 0, sigmaY=own.band_sd_px, borderType=beyond)
    brightest = as_float32(soft).T.reshape(parts.shape).max(axis=0)
    return as_array(np.clip(brightest / paper, own.darkest_band, 1.0))
