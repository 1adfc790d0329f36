"""What the printed page looks like, cut into tiles that can be found again in a picture."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import VISION
from sheet_reader.sheet.model import Page
from sheet_reader.vision.arrays import Array, Float32, Gray
from sheet_reader.vision.surface import ControlGrid


@dataclass(frozen=True, slots=True)
class Tile:
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
    tiles: tuple[Tile, ...]
    boxes: tuple[Tile, ...]
    tile_centres: Array
    box_centres: Array


def box_corners(box_mm: tuple[float, float, float, float]) -> Array:
    """Corners (4, 2) of a box in mm, clockwise from top left."""
    x, y, w, h = box_mm
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], dtype=np.float64)


def _ink(raster: Gray, page: Page, px_per_mm: float) -> Float32:
    """The print as ink 0..1 at exactly ``px_per_mm``, softened by ``soften_px``.

    The raster fills the page, so its own scale differs a little along x and y.
    """
    per_x, per_y = raster.shape[1] / page.width_mm, raster.shape[0] / page.height_mm
    ink = (255.0 - raster.astype(np.float32)) / 255.0
    ratio = per_x / px_per_mm
    soft = cv2.GaussianBlur(ink, (0, 0), float(np.hypot(VISION.template.soften_px, 0.29)) * ratio)
    rx, ry = per_x / px_per_mm, per_y / px_per_mm
    inverse = np.array([[rx, 0, 0.5 * rx - 0.5], [0, ry, 0.5 * ry - 0.5]])
    size = (round(page.width_mm * px_per_mm), round(page.height_mm * px_per_mm))
    exact = cv2.warpAffine(
        soft, inverse, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return np.asarray(exact, dtype=np.float32)


def _writing_mask(page: Page, shape: tuple[int, ...], px_per_mm: float) -> Float32:
    """1 where the same print is expected on every sheet, 0 inside boxes and codes."""
    mask = np.ones(shape, dtype=np.float32)
    frame = VISION.template.frame_mm
    for cell in page.cells:
        x, y, w, h = cell.box_mm
        x0, y0 = round((x + frame) * px_per_mm), round((y + frame) * px_per_mm)
        x1, y1 = round((x + w - frame) * px_per_mm), round((y + h - frame) * px_per_mm)
        mask[y0:y1, x0:x1] = 0.0
    for x, y, w, h in (page.code_box_mm, page.printed_code_box_mm):
        x0, y0 = round(x * px_per_mm), round(y * px_per_mm)
        mask[y0 : round((y + h) * px_per_mm), x0 : round((x + w) * px_per_mm)] = 0.0
    return mask


def _cut(
    ink: Float32,
    mask: Float32,
    area: tuple[int, int, int, int],
    px_per_mm: float,
) -> Tile | None:
    """The tile of ``area`` (x0, y0, x1, y1 in px, clipped to the page); None without structure."""
    x0, y0 = max(area[0], 0), max(area[1], 0)
    x1, y1 = min(area[2], ink.shape[1]), min(area[3], ink.shape[0])
    weight = np.ascontiguousarray(mask[y0:y1, x0:x1])
    piece = ink[y0:y1, x0:x1]
    active = np.flatnonzero(weight)
    if active.size < 64:
        return None
    ground = float(piece.ravel()[active].mean())
    centred = (piece - ground) * weight
    if float((centred**2).sum()) / active.size < VISION.template.least_structure**2:
        return None
    down, across = np.gradient(piece)
    if _weakest_slope(across.ravel()[active], down.ravel()[active]) < VISION.template.least_slope:
        return None
    basis = np.stack([piece, np.ones_like(piece), across, down]).reshape(4, -1)[:, active]
    solver = np.linalg.solve(basis @ basis.T, basis)
    centre = ((x0 + x1) / 2 / px_per_mm, (y0 + y1) / 2 / px_per_mm)
    return Tile(
        (x0, y0), centre, np.ascontiguousarray(centred), active,
        np.ascontiguousarray(basis, dtype=np.float32),
        np.ascontiguousarray(solver, dtype=np.float32),
        np.zeros((0, 0), dtype=np.float32),
    )  # fmt: skip


def _pixels(
    edges_mm: tuple[float, float, float, float], px_per_mm: float
) -> tuple[int, int, int, int]:
    left, top, right, bottom = (round(e * px_per_mm) for e in edges_mm)
    return left, top, right, bottom


def _weakest_slope(across: Float32, down: Float32) -> float:
    """Smaller eigenvalue of the structure tensor: a lone rule fixes a tile in one direction only,
    and has 0 here.
    """
    xx, yy, xy = float(across @ across), float(down @ down), float(across @ down)
    return (xx + yy) / 2 - float(np.hypot((xx - yy) / 2, xy))


def _page_tiles(page: Page, ink: Float32, mask: Float32) -> list[Tile]:
    tiles, scale = [], VISION.template.coarse_px_per_mm
    nx = int(np.ceil((page.width_mm - 2 * 8) / VISION.template.tile_step_mm))
    ny = int(np.ceil((page.height_mm - 2 * 8) / VISION.template.tile_step_mm))
    half = VISION.template.tile_mm / 2
    for y in np.linspace(8 + half / 2, page.height_mm - 8 - half / 2, ny):
        for x in np.linspace(8 + half / 2, page.width_mm - 8 - half / 2, nx):
            edges = (x - half, y - half, x + half, y + half)
            tile = _cut(ink, mask, _pixels(edges, scale), scale)
            if tile is not None:
                tiles.append(tile)
    return tiles


def _box_tiles(page: Page, ink: Float32, mask: Float32) -> list[Tile]:
    tiles, scale = [], VISION.template.fine_px_per_mm
    for cell in page.cells:
        x, y, w, h = cell.box_mm
        a = VISION.template.around_box_mm
        edges = (x - a, y - a, x + w + a, y + h + a)
        tile = _cut(ink, mask, _pixels(edges, scale), scale)
        if tile is None:
            raise ValueError(f"the printed frame of {cell.field} is missing from the template")
        tiles.append(replace(tile, corners=_corner_solver(tile, cell.box_mm)))
    return tiles


def _corner_solver(tile: Tile, box_mm: tuple[float, float, float, float]) -> Float32:
    """Least squares for the frame's contrast within each quarter of the box (4, active pixels)."""
    rows, columns = np.unravel_index(tile.active, tile.weighted.shape)
    x = (
        (columns + tile.corner[0] + 0.5) / VISION.template.fine_px_per_mm
        - box_mm[0]
        - box_mm[2] / 2
    )
    y = (rows + tile.corner[1] + 0.5) / VISION.template.fine_px_per_mm - box_mm[1] - box_mm[3] / 2
    frame = (
        np.maximum(np.abs(x) - box_mm[2] / 2, np.abs(y) - box_mm[3] / 2) < VISION.template.frame_mm
    )
    solver = np.zeros((4, len(tile.active)), dtype=np.float32)
    for i, quarter in enumerate(((x < 0) & (y < 0), (x >= 0) & (y < 0), (x >= 0) & (y >= 0),
                                 (x < 0) & (y >= 0))):  # fmt: skip
        part = quarter & frame
        centred = tile.basis[0][part] - tile.basis[0][part].mean()
        solver[i, part] = centred / max(float(centred @ centred), 1e-9)
    return solver


def prepare(page: Page, raster: Gray) -> PreparedPage:
    """The page made ready; ``raster`` uint8 (H, W) is its print at ``raster_px_per_mm``."""
    at_coarse, at_fine = VISION.template.coarse_px_per_mm, VISION.template.fine_px_per_mm
    fine, coarse = _ink(raster, page, at_fine), _ink(raster, page, at_coarse)
    tiles = _page_tiles(page, coarse, _writing_mask(page, coarse.shape, at_coarse))
    boxes = _box_tiles(page, fine, _writing_mask(page, fine.shape, at_fine))
    return PreparedPage(
        page,
        ControlGrid(page.width_mm, page.height_mm),
        tuple(tiles),
        tuple(boxes),
        np.array([t.centre_mm for t in tiles], dtype=np.float64).reshape(-1, 2),
        np.array([t.centre_mm for t in boxes], dtype=np.float64).reshape(-1, 2),
    )


def boxes_of(prepared: PreparedPage, page: Page) -> PreparedPage | None:
    """The same print with the boxes of ``page`` alone (a sheet with a printed site number lacks
    some); None where a box of ``page`` stands elsewhere.
    """
    at = {(c.field, c.index): i for i, c in enumerate(prepared.page.cells)}
    picked = [at.get((c.field, c.index), -1) for c in page.cells]
    same = (page.width_mm, page.height_mm) == (prepared.page.width_mm, prepared.page.height_mm)
    if not same or any(
        i < 0 or prepared.page.cells[i].box_mm != c.box_mm
        for i, c in zip(picked, page.cells, strict=True)
    ):
        return None
    return replace(
        prepared,
        page=page,
        boxes=tuple(prepared.boxes[i] for i in picked),
        box_centres=prepared.box_centres[picked],
    )
