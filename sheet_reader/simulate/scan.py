"""Scan filled sheets on a flatbed: no bending, a little skew, grey or fax-like black and white."""

from __future__ import annotations

import cv2
import numpy as np

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.camera import Camera
from sheet_reader.simulate.light import Light
from sheet_reader.simulate.mapping import CoarseGrid, Placement, SheetMap
from sheet_reader.simulate.photo import FilledSheet, Photo, located
from sheet_reader.simulate.printer import Bytes
from sheet_reader.simulate.surface import Surface
from sheet_reader.simulate.truth import PhotoTruth

RESOLUTIONS = (150, 200, 300, 400, 600)
"""Dots per inch that scanners offer; common practice, no source."""
_FAR_MM = SIMULATE.scanner_far_mm


def scan(
    sheet: FilledSheet, seed: int, dpi: int | None = None, bilevel: bool | None = None
) -> Photo:
    """A scan as a PNG file. ``dpi`` and ``bilevel`` (black and white only) default to chance; a
    sheet may lie upside down.
    """
    rng = np.random.default_rng([seed, 55])
    dots = dpi or int(rng.choice(RESOLUTIONS))
    two_levels = bool(rng.random() < 0.3) if bilevel is None else bilevel
    scale = dots / 25.4
    width_mm, height_mm = sheet.paper.size_mm
    size = (round((width_mm + 4) * scale), round((height_mm + 4) * scale))
    turn = rng.normal(0, np.radians(0.8)) + np.pi * int(rng.random() < 0.2)
    place = Placement(turn, *rng.uniform(-1.5, 1.5, 2))
    # A camera infinitely far away, as far as anyone can tell: parallel rays, no perspective.
    camera = Camera(np.eye(3), np.array([0.0, 0.0, _FAR_MM]), scale * _FAR_MM, *size)
    sheet_map = SheetMap(Surface(width_mm, height_mm), place, camera)
    gray = _seen(sheet, sheet_map, scale, rng)
    if two_levels:
        gray = np.asarray(np.where(gray > rng.uniform(110, 185), 255, 0), np.uint8)
    done, data = cv2.imencode(".png", gray)
    if not done:
        raise ValueError("the scan can't be written as PNG")
    grid = CoarseGrid(*size, 16)
    light = Light(np.ones(grid.shape, np.float32), np.zeros(grid.shape, np.float32))
    cover = np.zeros(gray.shape, np.uint8)
    truths = (located(sheet, sheet_map, cover, light, grid, 255.0),) if sheet.truth else ()
    truth = PhotoTruth("sheet", "scan", seed, *size, 1, truths)
    upright = np.repeat(gray[..., None], 3, axis=2)
    return Photo(data.tobytes(), truth, (sheet_map,), upright)


def _seen(sheet: FilledSheet, sheet_map: SheetMap, scale: float, rng: np.random.Generator) -> Bytes:
    paper = sheet.paper
    raster = cv2.cvtColor(paper.bgr, cv2.COLOR_BGR2GRAY)
    shrink = min(1.0, scale / paper.px_per_mm)
    if shrink < 0.98:
        raster = cv2.resize(raster, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    factor = np.array(raster.shape[::-1]) / np.array(paper.size_mm)
    corners = np.array([(0.0, 0.0), (paper.size_mm[0], 0.0), (0.0, paper.size_mm[1])])
    source = (corners * factor - 0.5).astype(np.float32)
    target = sheet_map.to_px(corners).astype(np.float32)
    move = cv2.getAffineTransform(source, target)
    size = (sheet_map.camera.width, sheet_map.camera.height)
    lid = int(rng.choice([252, 235, 40]))  # a white, grey or open lid
    flat = cv2.warpAffine(raster, move, size, flags=cv2.INTER_LINEAR, borderValue=lid)
    soft = cv2.GaussianBlur(flat, (0, 0), max(0.4, 0.03 * scale)).astype(np.float32)
    noise = np.asarray(rng.standard_normal(soft.shape, np.float32), np.float32)
    strength = np.float32(rng.uniform(0.5, 2.5))
    bright = soft * np.float32(rng.uniform(0.96, 1.06)) + noise * strength
    return np.asarray(np.clip(bright, 0, 255), np.uint8)
