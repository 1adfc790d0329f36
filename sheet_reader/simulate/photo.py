"""Photograph filled sheets on a desk: paper, camera, light and file, with the true place of all.

The picture is taken with one dense map per sheet: the bent paper is followed exactly on a coarse
grid of pixels and spread to all of them in between.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE
from sheet_reader.sheet.page import Page
from sheet_reader.simulate.background import random_background
from sheet_reader.simulate.camera import Camera, random_camera
from sheet_reader.simulate.levels import Level
from sheet_reader.simulate.light import Light, random_light, shading
from sheet_reader.simulate.mapping import CoarseGrid, Placement, SheetMap, on_desk
from sheet_reader.simulate.printer import Bytes, Paper
from sheet_reader.simulate.sensor import (
    blurred,
    exposed,
    jpeg,
    oriented,
    random_orientation,
    repacked,
)
from sheet_reader.simulate.spoil import FoldLine, folded
from sheet_reader.simulate.surface import Surface, random_surface
from sheet_reader.simulate.thumbs import paint_thumb, random_thumbs
from sheet_reader.simulate.truth import CellTruth, PhotoTruth, Point, SheetTruth
from sheet_reader.simulate.wear import worn

Floats = NDArray[np.float64]
_GLARE_CONTRAST = SIMULATE.glare_contrast


@dataclass(frozen=True, slots=True)
class FilledSheet:
    """Paper with print and handwriting; ``page`` and ``truth`` (places still missing) are None
    for paper that is no sheet. ``folds`` are those that it has beside the level's own.
    """

    paper: Paper
    page: Page | None = None
    truth: SheetTruth | None = None
    folds: tuple[FoldLine, ...] = ()


@dataclass(frozen=True, slots=True)
class Photo:
    """A JPEG file and what it shows; ``maps`` take each sheet's paper mm to px of the upright
    picture, ``upright`` is that picture before the file, BGR uint8.
    """

    data: bytes
    truth: PhotoTruth
    maps: tuple[SheetMap, ...]
    upright: Bytes


def photograph(
    sheets: Sequence[FilledSheet], level: Level, seed: int, *, kind: str = "sheet",
    size: tuple[int, int] | None = None, orientation: int | None = None,
) -> Photo:  # fmt: skip
    """Photograph ``sheets`` (none: the desk alone) at ``level``. The same ``seed`` gives the same
    file. ``size`` is width and height in px of the upright picture, ``orientation`` the EXIF tag
    1..8; both default to what the level draws.
    """
    rng = np.random.default_rng([seed, 77])
    placements = _placements(sheets, rng)
    surfaces = [
        folded(random_surface(level, *sheet.paper.size_mm, rng), sheet.folds) for sheet in sheets
    ]
    outlines = [
        on_desk(surface, place, _outline(*sheet.paper.size_mm))
        for surface, place, sheet in zip(surfaces, placements, sheets, strict=True)
    ]
    view = (
        np.vstack(outlines)
        if outlines
        else on_desk(Surface(210, 297), Placement(), _outline(210, 297))
    )
    camera = random_camera(level, view, rng, size)
    maps = tuple(SheetMap(s, p, camera) for s, p in zip(surfaces, placements, strict=True))
    px_per_mm = _px_per_mm(camera)
    grid = CoarseGrid(camera.width, camera.height, 16 if camera.width * camera.height > 6e6 else 8)
    light = random_light(level, grid.shape, px_per_mm / grid.step, rng)
    scene, covers = _scene(sheets, maps, level, grid, light, px_per_mm, rng)
    white = rng.uniform(*level.exposure)
    cast = _random_cast(level, rng)
    glare = grid.spread(light.glare) if light.glare.any() else None
    soft = blurred(scene, level, px_per_mm, rng)
    picture = exposed(soft, grid.spread(light.gain), glare, white, cast, level, rng)
    tag = orientation or random_orientation(rng)
    quality = int(rng.integers(level.quality[0], level.quality[1] + 1))
    if rng.random() < level.sent_on:  # a mail or chat program has packed it once before
        picture = repacked(picture, int(rng.integers(70, 93)))
    data = jpeg(oriented(picture, tag), quality, tag)
    truths = tuple(
        located(sheet, sheet_map, cover, light, grid, white)
        for sheet, sheet_map, cover in zip(sheets, maps, covers, strict=True)
        if sheet.truth is not None
    )
    truth = PhotoTruth(kind, level.name, seed, camera.width, camera.height, tag, truths)
    return Photo(data, truth, maps, picture)


def _random_cast(level: Level, rng: np.random.Generator) -> tuple[float, float, float]:
    """Factors of blue, green and red: mostly along warm and cool, a little green or pink."""
    warm, green = rng.normal(0, level.cast), rng.normal(0, level.cast / 4)
    return float(1 - warm), float(1 + green), float(1 + warm)


def _placements(sheets: Sequence[FilledSheet], rng: np.random.Generator) -> list[Placement]:
    """Sheets side by side with gaps, each a little askew."""
    places, x = [], 0.0
    for sheet in sheets:
        width = sheet.paper.size_mm[0]
        places.append(Placement(np.radians(rng.normal(0, 2)), x + width / 2, rng.normal(0, 4)))
        x += width + rng.uniform(12, 30)
    if len(places) == 1:
        return [Placement()]
    return places


def _outline(width: float, height: float, steps: int = 24) -> Floats:
    """The paper's edge (4 × steps, 2), clockwise from the top left, mm."""
    t = np.arange(steps) / steps
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], np.float64)
    return np.vstack(
        [a + (b - a) * t[:, None] for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)]
    )


def _px_per_mm(camera: Camera) -> float:
    """Picture pixels to a mm on the desk, in the middle of the picture."""
    return float(camera.focal_px / camera.place[2])


def _scene(
    sheets: Sequence[FilledSheet], maps: Sequence[SheetMap], level: Level, grid: CoarseGrid,
    light: Light, px_per_mm: float, rng: np.random.Generator,
) -> tuple[Bytes, list[Bytes]]:  # fmt: skip
    """The unlit picture and, for each sheet, what hides it (uint8 masks). The bent paper's own
    shading goes into ``light.gain`` in place.
    """
    camera = grid.width, grid.height
    desk = maps[0].camera if maps else None
    scene = random_background(desk, rng) if desk else _desk_alone(camera, level, rng)
    covers: list[Bytes] = []
    for sheet, sheet_map in zip(sheets, maps, strict=True):
        outline = sheet_map.to_px(_outline(*sheet.paper.size_mm))
        _drop_shadow(scene, outline, px_per_mm, rng)
        for earlier in covers:
            cv2.fillPoly(earlier, [np.rint(outline).astype(np.int32)], 255)
        _lay(scene, sheet, sheet_map, level, grid, light, px_per_mm, rng)
        covers.append(np.zeros(scene.shape[:2], np.uint8))
    for sheet, sheet_map in zip(sheets, maps, strict=True):
        count = int(rng.choice(len(level.thumbs), p=level.thumbs))
        for thumb in random_thumbs(count, sheet.paper.size_mm, _marker_places(sheet), rng):
            occluded = np.zeros(scene.shape[:2], np.uint8)
            paint_thumb(scene, occluded, sheet_map, thumb, rng)
            for cover in covers:
                np.maximum(cover, occluded, out=cover)
    return scene, covers


def _desk_alone(size: tuple[int, int], level: Level, rng: np.random.Generator) -> Bytes:
    flat = on_desk(Surface(210, 297), Placement(), _outline(210, 297))
    return random_background(random_camera(level, flat, rng, size), rng)


def _marker_places(sheet: FilledSheet) -> list[tuple[float, float]]:
    if sheet.page is None:
        return []
    middles = np.array([np.mean(m.corners_mm, axis=0) for m in sheet.page.markers])
    return [(float(x), float(y)) for x, y in sheet.paper.place(middles)]


def _drop_shadow(scene: Bytes, outline: Floats, px_per_mm: float, rng: np.random.Generator) -> None:
    """The shadow that the paper's edge throws on the desk, in place."""
    step = max(2, int(px_per_mm))
    small = np.zeros((scene.shape[0] // step + 1, scene.shape[1] // step + 1), np.uint8)
    shifted = (outline + rng.uniform(-3, 3, 2) * px_per_mm) / step
    cv2.fillPoly(small, [np.rint(shifted).astype(np.int32)], 255)
    sigma = rng.uniform(1.5, 4) * px_per_mm / step
    soft = cv2.GaussianBlur(small, (0, 0), sigma)
    depth = rng.uniform(0.25, 0.6)
    gain = 255 - cv2.resize(soft, scene.shape[1::-1]) * np.float32(depth)
    for channel in range(3):
        scene[..., channel] = cv2.multiply(
            scene[..., channel], gain, scale=1 / 255, dtype=cv2.CV_8U
        )


def _lay(
    scene: Bytes, sheet: FilledSheet, sheet_map: SheetMap, level: Level, grid: CoarseGrid,
    light: Light, px_per_mm: float, rng: np.random.Generator,
) -> None:  # fmt: skip
    """Draw the paper into ``scene`` and its shading into ``light.gain``, both in place."""
    paper = worn(sheet.paper, sheet_map.surface, level, rng)
    scale = paper.px_per_mm
    raster = paper.bgr
    shrink = min(1.0, px_per_mm * 1.15 / scale)
    if shrink < 0.95:  # a bilinear look-up alone would alias
        small = cv2.resize(raster, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        raster = np.asarray(small, np.uint8)
    factor = np.array(raster.shape[1::-1]) / np.array(paper.size_mm)
    points = sheet_map.to_mm(grid.pixels())
    places = points * factor - 0.5
    dense = grid.spread(places.reshape(*grid.shape, 2).astype(np.float32))
    across, down = cv2.split(dense)
    cv2.remap(raster, across, down, cv2.INTER_LINEAR, scene, cv2.BORDER_TRANSPARENT)
    size = np.array(paper.size_mm)
    near = np.all((points > -4) & (points < size + 4), axis=1)
    turned = shading(sheet_map.surface.slopes(points), rng)
    gain = np.where(near, turned, np.float32(1))
    light.gain[:] *= gain.reshape(grid.shape)


def located(
    sheet: FilledSheet, sheet_map: SheetMap, cover: Bytes, light: Light, grid: CoarseGrid,
    white: float,
) -> SheetTruth:  # fmt: skip
    """The sheet's truth with the places of boxes, markers and outline in the picture."""
    assert sheet.page is not None
    assert sheet.truth is not None
    boxes = {(c.field, c.index): c.box_mm for c in sheet.page.cells}
    cells = []
    for cell in sheet.truth.cells:
        x, y, width, height = boxes[cell.field, cell.index]
        corners = np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)])
        seen = sheet_map.to_px(sheet.paper.place(corners))
        cells.append(placed(cell, seen, cover, light, grid, white))
    markers = {
        m.id: _as_points(sheet_map.to_px(sheet.paper.place(np.array(m.corners_mm))))
        for m in sheet.page.markers
    }
    width, height = sheet.paper.size_mm
    edge = sheet_map.to_px(np.array([(0, 0), (width, 0), (width, height), (0, height)], float))
    return replace(
        sheet.truth, cells=tuple(cells), marker_corners_px=markers, outline_px=_as_points(edge),
        print_scale=sheet.paper.scale,
    )  # fmt: skip


def placed(
    cell: CellTruth, seen: Floats, cover: Bytes, light: Light, grid: CoarseGrid, white: float
) -> CellTruth:
    """``cell`` with its corners ``seen`` (4, 2: px) and how much of it is hidden there: under
    ``cover`` (uint8, the picture's size) or in glare that leaves less than a third of the ink's
    contrast.
    """
    size = np.array([grid.width, grid.height])
    inside = bool(np.all((seen >= 0) & (seen <= size - 1)))
    t = (np.arange(8) + 0.5) / 8
    right, down = np.meshgrid(t, t)
    top = seen[0] + (seen[1] - seen[0]) * right.reshape(-1, 1)
    bottom = seen[3] + (seen[2] - seen[3]) * right.reshape(-1, 1)
    spots = top + (bottom - top) * down.reshape(-1, 1)
    spots = spots[np.all((spots >= 0) & (spots <= size - 1), axis=1)]
    covered = saturated = 0.0
    if len(spots):
        whole = np.rint(spots).astype(int)
        covered = float(np.mean(cover[whole[:, 1], whole[:, 0]] > 0))
        coarse = np.clip((spots + 0.5) / grid.step + 0.5, 0, None).astype(int)
        gain = light.gain[coarse[:, 1], coarse[:, 0]] * np.float32(white / 255)
        glare = light.glare[coarse[:, 1], coarse[:, 0]]
        paper, ink = np.minimum(1, gain + glare), np.minimum(1, 0.3 * gain + glare)
        saturated = float(np.mean((paper - ink) / paper < _GLARE_CONTRAST))
    return replace(
        cell, corners_px=_as_points(seen), inside=inside, covered=covered, saturated=saturated
    )


def _as_points(points: Floats) -> tuple[Point, ...]:
    return tuple((round(float(x), 3), round(float(y), 3)) for x, y in points)
