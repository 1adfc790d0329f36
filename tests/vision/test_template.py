"""The printed page cut into tiles: what a tile holds, and which pieces make none."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from sheet_reader.numbers import VISION
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.vision.arrays import box_corners
from sheet_reader.vision.template import PreparedPage, _cut, boxes_of, prepare

COARSE, FINE = VISION.template.coarse_px_per_mm, VISION.template.fine_px_per_mm


@pytest.fixture(scope="module")
def prepared(bean_book: LayoutBook) -> PreparedPage:
    page = bean_book.layout().pages[0]
    return prepare(page, bean_book.template(page, VISION.template.raster_px_per_mm))


def test_the_solver_gives_back_what_a_tile_is_made_of(prepared: PreparedPage) -> None:
    """Least squares of the basis itself are its unit vectors: brightness, contrast and both
    shifts are told apart in every tile.
    """
    for tile in (*prepared.tiles, *prepared.boxes):
        assert np.abs(tile.solver @ tile.basis.T - np.eye(4)).max() < 0.02


def test_the_slopes_tell_a_small_shift(prepared: PreparedPage) -> None:
    """A tile drawn 0.3 px further right is its own picture less 0.3 times its slope along x."""
    tile = prepared.boxes[3]
    height, width = tile.weighted.shape
    full = np.zeros(height * width, np.float32)
    full[tile.active] = tile.basis[0]
    moved = cv2.warpAffine(full.reshape(height, width), np.float32([[1, 0, 0.3], [0, 1, 0]]),
                           (width, height))  # fmt: skip
    gain, _, gx, gy = tile.solver @ moved.ravel()[tile.active]
    assert -gx / gain == pytest.approx(0.3, abs=0.12)
    assert abs(gy / gain) < 0.05


def test_there_is_one_tile_for_each_box_around_its_middle(prepared: PreparedPage) -> None:
    assert len(prepared.boxes) == len(prepared.page.cells)
    for cell, centre in zip(prepared.page.cells, prepared.box_centres, strict=True):
        x, y, w, h = cell.box_mm
        assert centre == pytest.approx((x + w / 2, y + h / 2), abs=0.2)


def test_nobody_writes_where_a_box_tile_looks(prepared: PreparedPage) -> None:
    for cell, tile in zip(prepared.page.cells, prepared.boxes, strict=True):
        rows, columns = np.unravel_index(tile.active, tile.weighted.shape)
        x = (columns + tile.corner[0] + 0.5) / FINE - cell.box_mm[0]
        y = (rows + tile.corner[1] + 0.5) / FINE - cell.box_mm[1]
        deep = VISION.template.frame_mm + 0.2
        inside = (x > deep) & (x < cell.box_mm[2] - deep)
        assert not (inside & (y > deep) & (y < cell.box_mm[3] - deep)).any()


def test_weighted_tiles_have_no_mean(prepared: PreparedPage) -> None:
    for tile in prepared.tiles:
        assert abs(float(tile.weighted.sum())) / tile.weighted.size < 1e-4


def test_tiles_reach_over_the_whole_page(prepared: PreparedPage) -> None:
    low, high = prepared.tile_centres.min(axis=0), prepared.tile_centres.max(axis=0)
    assert (high - low > (120, 200)).all()


def test_blank_paper_and_a_lone_rule_make_no_tile() -> None:
    """A rule fixes a tile across itself only; along it, it could lie anywhere."""
    mask = np.ones((60, 60), np.float32)
    blank = np.zeros((60, 60), np.float32)
    assert _cut(blank, mask, (0, 0, 24, 24), COARSE) is None
    rule = cv2.GaussianBlur(np.pad(np.ones((2, 60), np.float32), ((29, 29), (0, 0))), (0, 0), 0.9)
    assert _cut(rule, mask, (0, 0, 24, 24), COARSE) is None
    cross = np.maximum(rule, rule.T)
    assert _cut(cross, mask, (0, 0, 24, 24), COARSE) is not None
    assert _cut(cross, np.zeros_like(mask), (0, 0, 24, 24), COARSE) is None, "all is written on"


def test_a_print_without_its_frames_is_refused(bean_book: LayoutBook) -> None:
    page = bean_book.layout().pages[0]
    raster = np.full_like(bean_book.template(page, VISION.template.raster_px_per_mm), 255)
    with pytest.raises(ValueError, match="frame of"):
        prepare(page, raster)


def test_corners_run_clockwise_from_the_top_left() -> None:
    corners = box_corners((2.0, 3.0, 4.0, 5.0))
    assert corners.tolist() == [[2, 3], [6, 3], [6, 8], [2, 8]]
    assert cv2.contourArea(corners.astype(np.float32), oriented=True) > 0


def test_a_page_with_a_box_elsewhere_has_a_print_of_its_own(prepared: PreparedPage) -> None:
    cells = prepared.page.cells
    x, y, w, h = cells[0].box_mm
    moved = replace(prepared.page, cells=(replace(cells[0], box_mm=(x + 1, y, w, h)), *cells[1:]))
    assert boxes_of(prepared, moved) is None
    assert boxes_of(prepared, replace(prepared.page, width_mm=1.0)) is None
    some = boxes_of(prepared, replace(prepared.page, cells=cells[5:8]))
    assert some is not None
    assert some.boxes == prepared.boxes[5:8]
    assert np.array_equal(some.box_centres, prepared.box_centres[5:8])
