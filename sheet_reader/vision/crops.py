"""The boxes cut out, levelled and freed of the neighbour's ink."""

from __future__ import annotations

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Array, Float32, Gray, as_float32, as_gray
from sheet_reader.vision.flatten import FlatPage, Pyramid, at_depth
from sheet_reader.vision.ranks import medians
from sheet_reader.vision.surface import Surface
from sheet_reader.vision.types import CROP_MARGIN_MM, CROP_PX


def _bilinear() -> Float32:
    """Weights (CROP_PX², 4) of a quadrilateral's corners for each pixel of a crop."""
    t = (np.arange(CROP_PX, dtype=np.float32) + 0.5) / CROP_PX
    v, u = np.meshgrid(t, t, indexing="ij")
    weights = np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v], axis=-1)
    return np.ascontiguousarray(weights.reshape(-1, 4), dtype=np.float32)


_WEIGHTS = _bilinear()


def crop_quads(boxes_mm: Array, shift_mm: Array) -> Array:
    """Corners (N, 4, 2) in page mm of what each crop shows, for boxes (N, 4) x, y, width, height
    moved by ``shift_mm`` (N, 2).
    """
    margin = CROP_MARGIN_MM
    x0, y0 = boxes_mm[:, 0] - margin, boxes_mm[:, 1] - margin
    x1 = boxes_mm[:, 0] + boxes_mm[:, 2] + margin
    y1 = boxes_mm[:, 1] + boxes_mm[:, 3] + margin
    quads = np.stack([x0, y0, x1, y0, x1, y1, x0, y1], axis=1).reshape(-1, 4, 2)
    result: Array = quads + shift_mm[:, None, :]
    return result


def _at_corners(picture: Gray, corners: Float32, border: int = cv2.BORDER_CONSTANT) -> Gray:
    """``picture`` at all crops' pixels inside ``corners`` (N, 4, 2): (N · CROP_PX, CROP_PX)."""
    x, y = ((corners[..., axis] @ _WEIGHTS.T).reshape(-1, CROP_PX) for axis in (0, 1))
    return as_gray(cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=border))


def cut_crops(
    pyramid: Pyramid, surface: Surface, flat: FlatPage, quads: Array, level_shift: Array
) -> Gray:
    """Crops levelled to the grey of blank paper, uint8 (N, 64, 64).

    ``quads`` (N, 4, 2) in page mm; ``level_shift`` (N, 2) mm leads from there to the same place
    on the flat page, which may have been made through an earlier surface.
    """
    count = len(quads)
    if count == 0:
        return np.zeros((0, CROP_PX, CROP_PX), dtype=np.uint8)
    scale = float(np.median(surface.px_per_mm(quads.mean(axis=1))))
    sides = np.linalg.norm(quads[:, 1] - quads[:, 0], axis=1)
    depth = pyramid.depth_for(scale, CROP_PX / float(np.median(sides)))
    corners = surface.to_px(quads.reshape(-1, 2)).reshape(-1, 4, 2)
    gray = _at_corners(pyramid.level(depth), at_depth(as_float32(corners), depth))
    on_flat = (quads + level_shift[:, None, :]) * flat.px_per_mm - 0.5
    level = _at_corners(flat.level, as_float32(on_flat), cv2.BORDER_REPLICATE)
    even = as_gray(
        cv2.divide(gray, np.maximum(level, 1), scale=VISION.crops.paper / paper_ratio(flat))
    )
    return even.reshape(count, CROP_PX, CROP_PX)


def paper_ratio(flat: FlatPage) -> float:
    """How bright blank paper is against its level: just under 1, lower in noisy pictures."""
    gray, level = flat.gray[::7, ::7].astype(np.float32), flat.level[::7, ::7].astype(np.float32)
    ratio = gray / np.maximum(level, 1.0)
    inside = True if flat.inside is None else flat.inside[::7, ::7]
    blank = ratio[(ratio > 0.75) & inside]
    return float(medians(blank)) if blank.size > 50 else 0.97


def inner_slices(box_mm: tuple[float, float, float, float], inset_mm: float) -> tuple[slice, slice]:
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
    if not crops:
        return np.zeros(0), 0.0
    calm = as_gray(cv2.blur(np.concatenate(crops), (3, 3))).reshape(-1, CROP_PX, CROP_PX)
    sizes, which = np.unique(boxes_mm[:, 2:].round(3), axis=0, return_inverse=True)
    depths = []
    for number, (width, height) in enumerate(sizes):
        rows, columns = inner_slices(
            (0.0, 0.0, float(width), float(height)), VISION.crops.ink_inset_mm
        )
        inside = calm[which == number][:, rows, columns].reshape(int((which == number).sum()), -1)
        place = inside.shape[1] * 3 // 4
        # as int32, which numpy ranks several times as fast as bytes
        ground = np.partition(inside.astype(np.int32), place, axis=1)[:, place : place + 1]
        depths.append(np.maximum(ground.astype(np.int16), VISION.crops.darkest_ground) - inside)
    middle = [medians(np.abs(depth)) for depth in depths]
    noise = float(np.median(np.concatenate(middle))) / VISION.crops.mad / VISION.crops.paper
    least = max(VISION.crops.faintest, 4.0 * noise) * VISION.crops.paper
    shares = np.zeros(len(crops))
    for number, depth in enumerate(depths):
        shares[which == number] = (depth > least).mean(axis=1)
    return shares, noise


def remove_neighbour_ink(crop: Gray, box_mm: tuple[float, float, float, float]) -> Gray:
    """The crop without strokes that come in over its left or right edge and stay out of the box.

    Such strokes belong to the neighbour's digit. A stroke that goes well into the box stays.
    """
    _, columns = inner_slices(box_mm, 0.45)
    left, right = columns.start, columns.stop
    rim = np.concatenate([crop[:, :2].ravel(), crop[:, -2:].ravel()])
    if rim.min() > VISION.crops.paper * (1.0 - VISION.crops.ink):
        return crop
    dark = (crop < VISION.crops.paper * (1.0 - VISION.crops.ink)).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
    touching = set(np.unique(labels[:, :2])) | set(np.unique(labels[:, -2:]))
    foreign = np.zeros_like(dark)
    for label in touching - {0}:
        inside = int((labels[:, left:right] == label).sum())
        if inside < 0.25 * stats[label, cv2.CC_STAT_AREA]:
            foreign[labels == label] = 1
    if not foreign.any():
        return crop
    cleaned = crop.copy()
    cleaned[cv2.dilate(foreign, np.ones((3, 3), np.uint8)) > 0] = round(VISION.crops.paper)
    return cleaned
