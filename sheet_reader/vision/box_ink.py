"""Ink in and about a box as plain numbers: how strong its strokes are, whether they leave the box,
and whether tally strokes run on into it.

Strokes are found by line filters: across the line a Gaussian's second derivative, along it a few
millimetres, in twelve directions (a matched filter for a line in white noise; Canny, IEEE Trans.
PAMI 8:679, 1986, for the detector of ridges). They take no notice of evenly slanting light, and
what one pixel's noise hides a whole line still shows. All pictures of one size are filtered at
once, by their spectra.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2
from scipy.sparse import csr_matrix

from sheet_reader.numbers import VISION
from sheet_reader.sheet.page import Page
from sheet_reader.vision.arrays import (
    Array,
    Box,
    Flags,
    Float32,
    Gray,
    as_array,
    as_float32,
    as_gray,
    medians,
)
from sheet_reader.vision.crops import inner_slices, of_each_size
from sheet_reader.vision.findings import CROP_MARGIN_MM, CROP_PX
from sheet_reader.vision.flat_page import FlatPage


@cache
def line_filters(standing: bool = False) -> Float32:
    """Kernels (directions, side, side) for crops at half their size, for the first direction along
    the rows and then turning; a line as wide as a pen's gives its own darkness. With ``standing``
    those for lines that rather stand than lie.
    """
    own = VISION.box_ink
    reach = own.filter_reach_px
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(float)
    kernels = []
    for turn in np.arange(own.directions) * np.pi / own.directions:
        along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
        spread = (across / own.line_sd_px) ** 2
        kernel = (1 - spread) * np.exp(-spread / 2) * (np.abs(along) <= own.line_px / 2)
        kernel -= kernel.mean()
        line = np.clip(own.line_sd_px + 0.25 - np.abs(across), 0, 1)
        kernels.append(kernel / (kernel * line).sum())
    upright = np.abs(2 * np.arange(own.directions) - own.directions) <= own.directions / 3
    return as_float32(np.stack(kernels)[upright] if standing else np.stack(kernels))


@cache
def _spectra(standing: bool, rows: int, columns: int) -> NDArray[np.complex64]:
    turned = np.ascontiguousarray(line_filters(standing)[:, ::-1, ::-1])
    return np.asarray(rfft2(turned, (rows, columns)), np.complex64)


def line_answers(pictures: Float32, *, standing: bool = False, mirrored: bool = False) -> Float32:
    """The filters' answers (N, directions, H, W) to ``pictures`` (N, H, W). Beyond their edges
    these go on as they end there, or ``mirrored``; ``standing`` as in :func:`line_filters`.
    """
    _, height, width = pictures.shape
    reach = VISION.box_ink.filter_reach_px
    around = ((0, 0), (reach, reach), (reach, reach))
    wide = np.pad(pictures, around, mode="symmetric" if mirrored else "edge")
    size = next_fast_len(height + 2 * reach, True), next_fast_len(width + 2 * reach, True)
    spectra = rfft2(wide, size)[:, None] * _spectra(standing, *size)
    # of a circular convolution the part that has not come around
    inside = slice(2 * reach, 2 * reach + height), slice(2 * reach, 2 * reach + width)
    return as_float32(irfft2(spectra, size)[:, :, *inside])


@dataclass(frozen=True, slots=True)
class StrokeEvidence:
    """Of one box: ``stroke`` the darkness (share of paper) of the most line-like place inside,
    ``stroke_noise`` what the filters give where there is no ink (standard deviation, same unit),
    ``leaves_mm`` how far ink that is also inside reaches beyond the frame.
    """

    stroke: float
    stroke_noise: float
    leaves_mm: float


def stroke_evidence(crops: Sequence[Gray], boxes_mm: Array) -> list[StrokeEvidence]:
    """What the levelled ``crops`` (64, 64) of boxes (N, 4: x, y, width, height) show."""
    paper, found = VISION.crops.paper, dict[int, StrokeEvidence]()
    for width, height, places in of_each_size(boxes_mm):
        box = (0.0, 0.0, width, height)
        some = np.stack([crops[i] for i in places.tolist()])
        rows, columns = inner_slices(box, VISION.box_ink.inset_mm)
        dark = 255 - some[:, rows, columns].astype(np.float32)
        size = (max(dark.shape[2] // 2, 1), max(dark.shape[1] // 2, 1))
        halves = np.stack([cv2.resize(d, size, interpolation=cv2.INTER_AREA) for d in dark])
        answers = line_answers(as_float32(halves), mirrored=True)
        strokes = answers.max(axis=(1, 2, 3)) / paper
        noises = medians(np.abs(answers).reshape(len(some), -1)) / VISION.crops.mad / paper
        leaves = leaving_mm(some, box, strokes)
        told = zip(strokes.tolist(), noises.tolist(), leaves.tolist(), strict=True)
        found |= {i: StrokeEvidence(*each) for i, each in zip(places.tolist(), told, strict=True)}
    return [found[i] for i in range(len(crops))]


def leaving_mm(crops: Gray, box_mm: Box, strokes: Array | Float32) -> Array:
    """How far (mm) ink beyond the frame reaches that goes on inside (N,), for ``crops``
    (N, 64, 64) of boxes of one size with strokes as dark as ``strokes`` (N,; share of paper);
    0 where none leaves the box.
    """
    own = VISION.box_ink
    least = np.maximum(own.faintest, own.leaving_share * as_array(strokes)) * VISION.crops.paper
    rimmed = np.pad(crops, ((0, 0), (1, 1), (0, 0)), mode="reflect")  # crops don't run together
    calm = as_gray(cv2.blur(rimmed.reshape(-1, CROP_PX), (3, 3))).reshape(rimmed.shape)[:, 1:-1]
    ink = calm < VISION.crops.paper - least[:, None, None]
    sides = [
        _beyond_left(np.rot90(ink, -turned, axes=(1, 2)), box_mm[2 + turned % 2])
        for turned in range(4)
    ]
    return as_array(np.maximum.reduce(sides))


def _beyond_left(ink: Flags, size_mm: float) -> Array:
    """The same at the left edge of each ``ink`` (N, 64, 64), over a width of ``size_mm``."""
    own = VISION.box_ink
    px_per_mm = CROP_PX / (size_mm + 2 * CROP_MARGIN_MM)
    frame, clear = CROP_MARGIN_MM * px_per_mm, own.frame_mm * px_per_mm
    ends = round(1.6 * frame)  # the corners of the frame are no ink
    outside = ink[:, ends:-ends, : max(round(frame - clear), 1)]
    start = round(frame + clear)
    inside = ink[:, ends:-ends, start : start + max(round(clear), 2)]
    rows = np.ascontiguousarray(inside.any(axis=2).T, dtype=np.uint8)
    near = cv2.dilate(rows, np.ones((2 * own.slant_px + 1, 1), np.uint8)).T > 0
    columns = (outside & near[:, :, None]).sum(axis=1) >= own.least_px
    first = (frame - columns.argmax(axis=1)) / px_per_mm
    return np.where(columns.any(axis=1), first, 0.0)


def _tallied(page: Page) -> dict[int, Box]:
    """The boxes of ``page`` that a tally space leads to, by number, with their tally spaces.

    Between the two the sheet leaves a gap without any print. A row of strokes that runs on into
    the box has to cross it, with a stroke in the gap or one on the frame.
    """
    spaces = {area.field: area.box_mm for area in page.areas if area.kind == "tally"}
    return {
        i: spaces[cell.field]
        for i, cell in enumerate(page.cells)
        if cell.index == 0 and cell.field in spaces
    }


def gap_strokes(page: Page, flat: FlatPage, moved_mm: Array) -> Array:
    """For each box of ``page`` (N,) how dark (share of paper) the most stroke-like place is in the
    gap between its field's tally space and the box; 0 for boxes that no such gap leads to.
    ``moved_mm`` (N, 2) leads from each box to its place on the flat page.
    """
    own, found = VISION.box_ink, np.zeros(len(page.cells))
    seen: dict[int, Float32] = {}
    for i, (x, _, w, _) in _tallied(page).items():
        left, top, _, height = page.cells[i].box_mm
        edges = np.array([[x + w + own.gap_left_mm, top], [left - own.gap_right_mm, top + height]])
        corners = np.rint((edges + moved_mm[i]) * flat.px_per_mm).astype(int)
        (x0, y0), (x1, y1) = np.clip(corners, 0, flat.gray.shape[::-1])  # as far as on the page
        gray, paper = (part[y0:y1, x0:x1].astype(np.float32) for part in (flat.gray, flat.level))
        if min(gray.shape) >= 2:
            seen[i] = as_float32(1.0 - gray / np.maximum(paper, 1.0))
    found[list(seen)] = _upright_strokes(list(seen.values()), flat.px_per_mm)
    return found


def _upright_strokes(pieces: Sequence[Float32], px_per_mm: float) -> Array:
    """How dark (N,) the most line-like place of each of ``pieces`` (H, W; 0 paper to 1) is, at
    ``px_per_mm``, by the filters for lines that rather stand than lie.
    """
    factor = CROP_PX / 2 / VISION.box_ink.usual_crop_mm / px_per_mm
    found = np.zeros(len(pieces))
    sizes = [tuple(max(round(side * factor), 1) for side in dark.shape[::-1]) for dark in pieces]
    for size in set(sizes):
        places = [i for i, own in enumerate(sizes) if own == size]
        small = [cv2.resize(pieces[i], size, interpolation=cv2.INTER_AREA) for i in places]
        answers = line_answers(as_float32(np.stack(small)), standing=True)
        found[places] = np.maximum(answers.max(axis=(1, 2, 3)), 0.0)
    return found


def edge_strokes(page: Page, crops: Sequence[Gray]) -> Array:
    """For each box of ``page`` (N,), by its crop, how much darker (share of paper) the left side of
    its frame is than the right one, as with an upright stroke that stands on it; 0 for boxes that
    no tally space leads to.
    """
    led, found = list(_tallied(page)), np.zeros(len(page.cells))
    if led:
        some, side = np.stack([crops[i] for i in led]), VISION.box_ink.edge_px
        dark = 1.0 - some.reshape(len(led), -1).astype(np.float32) / VISION.crops.paper
        upright = _sheared_means(CROP_PX) @ np.ascontiguousarray(dark.T)
        best = upright.reshape(-1, CROP_PX, len(led)).max(axis=0)
        found[led] = np.maximum(best[:side].max(axis=0) - best[-side:].max(axis=0), 0.0)
    return found


@cache
def _sheared_means(size: int) -> csr_matrix:
    """Takes the pixels of a crop, row by row, to the means of its columns after each of several
    slants: (slants · size, size · size). Between pixels linear, beyond the edge as it ends.
    """
    own = VISION.box_ink
    slants = np.arange(-own.edge_slant_px, own.edge_slant_px + 1, 2)
    rows = np.arange(own.edge_ends_px, size - own.edge_ends_px)
    number, row, column = np.meshgrid(np.arange(len(slants)), rows, np.arange(size), indexing="ij")
    place = column - slants[number] * (row / size - 0.5)
    below = np.floor(place).astype(int)
    weights, sources = [], []
    for at, weight in ((below, below + 1 - place), (below + 1, place - below)):
        weights.append(weight.ravel() / len(rows))
        sources.append((row * size + np.clip(at, 0, size - 1)).ravel())
    target = np.tile((number * size + column).ravel(), 2)
    entries = (np.concatenate(weights).astype(np.float32), (target, np.concatenate(sources)))
    return csr_matrix(entries, shape=(len(slants) * size, size * size))
