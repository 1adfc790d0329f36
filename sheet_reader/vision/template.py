"""What the printed page looks like, cut into tiles that can be found again in a picture."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import VISION
from sheet_reader.sheet.page import Page
from sheet_reader.vision.arrays import Array, Box, Float32, Gray, as_float32
from sheet_reader.vision.surface import ControlGrid


@dataclass(frozen=True, slots=True)
class TemplateTile:
    """A piece of the printed page: ``corner`` (x, y) of its top left in template pixels,
    ``weighted`` float32 (h, w) the zero-mean template times the weight. ``active`` holds the
    flat indices of the pixels where nobody writes, ``basis`` float32 (4, len(active)) there the
    template, a constant, and the template's slopes along x and y per pixel; ``solver`` (same
    shape) gives their least-squares shares in what is seen. ``corners`` float32
    (4, len(active)) gives the contrast of the frame near each corner of the box, clockwise from
    top left; empty for tiles of the page.
    """

    corner: tuple[int, int]
    centre_mm: tuple[float, float]
    weighted: Float32
    active: NDArray[np.intp]
    basis: Float32
    solver: Float32
    corners: Float32


@dataclass(frozen=True, slots=True)
class PreparedPage:
    """A page ready to be found: ``tiles`` over the whole page at ``coarse_px_per_mm`` and one of
    ``boxes`` for each cell at ``fine_px_per_mm``, with their centres in mm.
    """

    page: Page
    control_grid: ControlGrid
    tiles: tuple[TemplateTile, ...]
    boxes: tuple[TemplateTile, ...]
    tile_centres: Array
    box_centres: Array


def prepare(page: Page, raster: Gray) -> PreparedPage:
    """The page made ready; ``raster`` uint8 (H, W) is its print at ``raster_px_per_mm``."""
    tiles, boxes = _page_tiles(page, raster), _box_tiles(page, raster)
    tile_centres, box_centres = (
        np.array([t.centre_mm for t in some], dtype=np.float64).reshape(-1, 2)
        for some in (tiles, boxes)
    )
    grid = ControlGrid(page.width_mm, page.height_mm)
    return PreparedPage(page, grid, tuple(tiles), tuple(boxes), tile_centres, box_centres)


def _page_tiles(page: Page, raster: Gray) -> list[TemplateTile]:
    own, scale = VISION.template, VISION.template.coarse_px_per_mm
    ink, half = _ink(raster, page, scale), own.tile_mm / 2
    mask = _writing_mask(page, ink.shape, scale)
    sides = [(side, int(np.ceil((side - 2 * 8) / own.tile_step_mm)))
             for side in (page.width_mm, page.height_mm)]  # fmt: skip
    xs, ys = (np.linspace(8 + half / 2, side - 8 - half / 2, count) for side, count in sides)
    edges = [(x - half, y - half, x + half, y + half) for y in ys for x in xs]
    tiles = (_cut(ink, mask, each, scale) for each in edges)
    return [tile for tile in tiles if tile is not None]


def _box_tiles(page: Page, raster: Gray) -> list[TemplateTile]:
    tiles, scale = [], VISION.template.fine_px_per_mm
    ink, around = _ink(raster, page, scale), VISION.template.around_box_mm
    mask = _writing_mask(page, ink.shape, scale)
    for cell in page.cells:
        x, y, w, h = cell.box_mm
        edges = (x - around, y - around, x + w + around, y + h + around)
        tile = _cut(ink, mask, edges, scale)
        if tile is None:
            raise ValueError(f"the printed frame of {cell.field} is missing from the template")
        tiles.append(replace(tile, corners=_corner_solver(tile, cell.box_mm)))
    return tiles


def _ink(raster: Gray, page: Page, px_per_mm: float) -> Float32:
    """The print as ink 0..1 at exactly ``px_per_mm``, softened by ``soften_px``.

    The raster fills the page, so its own scale differs a little along x and y.
    """
    rx = raster.shape[1] / page.width_mm / px_per_mm
    ry = raster.shape[0] / page.height_mm / px_per_mm
    ink = (255.0 - raster.astype(np.float32)) / 255.0
    soft = cv2.GaussianBlur(ink, (0, 0), float(np.hypot(VISION.template.soften_px, 0.29)) * rx)
    inverse = np.array([[rx, 0, 0.5 * rx - 0.5], [0, ry, 0.5 * ry - 0.5]])
    size = (round(page.width_mm * px_per_mm), round(page.height_mm * px_per_mm))
    exact = cv2.warpAffine(
        soft, inverse, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return as_float32(exact)


def _writing_mask(page: Page, shape: tuple[int, ...], px_per_mm: float) -> Float32:
    """1 where the same print is expected on every sheet, 0 inside boxes and codes."""
    mask = np.ones(shape, dtype=np.float32)
    inside = [(*cell.box_mm, VISION.template.frame_mm) for cell in page.cells]
    codes = [(*box, 0.0) for box in (page.code_box_mm, page.printed_code_box_mm)]
    for x, y, w, h, rim in (*inside, *codes):
        x0, y0 = round((x + rim) * px_per_mm), round((y + rim) * px_per_mm)
        x1, y1 = round((x + w - rim) * px_per_mm), round((y + h - rim) * px_per_mm)
        mask[y0:y1, x0:x1] = 0.0
    return mask


def _cut(
    ink: Float32, mask: Float32, edges_mm: tuple[float, float, float, float], px_per_mm: float
) -> TemplateTile | None:
    """The tile within ``edges_mm`` (left, top, right, bottom), clipped to the page; None without
    structure.
    """
    left, top, right, bottom = (round(edge * px_per_mm) for edge in edges_mm)
    x0, y0, x1, y1 = max(left, 0), max(top, 0), min(right, ink.shape[1]), min(bottom, ink.shape[0])
    weight = np.ascontiguousarray(mask[y0:y1, x0:x1])
    piece = ink[y0:y1, x0:x1]
    active = np.flatnonzero(weight)
    if active.size < 64:
        return None
    centred = (piece - float(piece.ravel()[active].mean())) * weight
    if float((centred**2).sum()) / active.size < VISION.template.least_structure**2:
        return None
    down, across = np.gradient(piece)
    if _weakest_slope(across.ravel()[active], down.ravel()[active]) < VISION.template.least_slope:
        return None
    basis = np.stack([piece, np.ones_like(piece), across, down]).reshape(4, -1)[:, active]
    solver = np.linalg.solve(basis @ basis.T, basis)
    basis, solver = (np.ascontiguousarray(part, dtype=np.float32) for part in (basis, solver))
    centre = ((x0 + x1) / 2 / px_per_mm, (y0 + y1) / 2 / px_per_mm)
    none = np.zeros((0, 0), dtype=np.float32)
    return TemplateTile(
        (x0, y0), centre, np.ascontiguousarray(centred), active, basis, solver, none
    )


def _weakest_slope(across: Float32, down: Float32) -> float:
    """Smaller eigenvalue of the structure tensor: a lone rule fixes a tile in one direction only,
    and has 0 here.
    """
    xx, yy, xy = float(across @ across), float(down @ down), float(across @ down)
    return (xx + yy) / 2 - float(np.hypot((xx - yy) / 2, xy))


def _corner_solver(tile: TemplateTile, box_mm: Box) -> Float32:
    """Least squares for the frame's contrast within each quarter of the box (4, active pixels)."""
    scale, (left, top, width, height) = VISION.template.fine_px_per_mm, box_mm
    rows, columns = np.unravel_index(tile.active, tile.weighted.shape)
    x = (columns + tile.corner[0] + 0.5) / scale - left - width / 2
    y = (rows + tile.corner[1] + 0.5) / scale - top - height / 2
    off = np.maximum(np.abs(x) - width / 2, np.abs(y) - height / 2)
    solver = np.zeros((4, len(tile.active)), dtype=np.float32)
    for i, (right, low) in enumerate(((False, False), (True, False), (True, True), (False, True))):
        part = ((x >= 0) == right) & ((y >= 0) == low) & (off < VISION.template.frame_mm)
        centred = tile.basis[0][part] - tile.basis[0][part].mean()
        solver[i, part] = centred / max(float(centred @ centred), 1e-9)
    return solver


def boxes_of(prepared: PreparedPage, page: Page) -> PreparedPage | None:
    """The same print with the boxes of ``page`` alone (a sheet with a printed site number lacks
    some); None where a box of ``page`` stands elsewhere.
    """
    at = {(c.field, c.index, c.box_mm): i for i, c in enumerate(prepared.page.cells)}
    picked = [at.get((c.field, c.index, c.box_mm), -1) for c in page.cells]
    same = (page.width_mm, page.height_mm) == (prepared.page.width_mm, prepared.page.height_mm)
    if not same or -1 in picked:
        return None
    boxes = tuple(prepared.boxes[i] for i in picked)
    return replace(prepared, page=page, boxes=boxes, box_centres=prepared.box_centres[picked])
