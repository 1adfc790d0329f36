"""Pieces of print found again after a known shift."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from sheet_reader.numbers import VISION
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.vision.match import corner_gains, match_tiles
from sheet_reader.vision.template import PreparedPage, boxes_of, prepare

FINE, RASTER = VISION.template.fine_px_per_mm, VISION.template.raster_px_per_mm
SOFTEN_PX = VISION.template.soften_px


@pytest.fixture(scope="module")
def prepared(bean_book: LayoutBook) -> PreparedPage:
    page = bean_book.layout().pages[0]
    return prepare(page, bean_book.template(page, RASTER))


def shifted_ink(book: LayoutBook, dx_mm: float, dy_mm: float, gain: float = 0.7) -> np.ndarray:
    """The blank sheet's ink at FINE px per mm, moved and paler."""
    raster = book.template(book.layout().pages[0], RASTER)
    ink = gain * (255.0 - raster.astype(np.float32)) / 255.0
    ratio = RASTER / FINE
    soft = cv2.GaussianBlur(ink, (0, 0), SOFTEN_PX * ratio)
    matrix = np.array([[ratio, 0, ratio / 2 - 0.5 - dx_mm * RASTER],
                       [0, ratio, ratio / 2 - 0.5 - dy_mm * RASTER]])  # fmt: skip
    size = (round(raster.shape[1] / ratio), round(raster.shape[0] / ratio))
    return cv2.warpAffine(soft, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)


@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.33, -0.21), (-0.9, 0.77), (1.13, 1.07)])
def test_boxes_are_found_to_a_thirtieth_of_a_millimetre(
    prepared: PreparedPage, bean_book: LayoutBook, shift: tuple[float, float]
) -> None:
    ink = shifted_ink(bean_book, *shift)
    found = match_tiles(ink, list(prepared.boxes), np.full(len(prepared.boxes), 1.6), FINE)
    assert np.abs(found.shift_mm - shift).max() < 0.03
    assert found.score.min() > 0.9


def test_writing_over_the_frame_does_not_pull_it(
    prepared: PreparedPage, bean_book: LayoutBook
) -> None:
    ink = shifted_ink(bean_book, 0.4, 0.2)
    for cell in prepared.page.cells:
        x, y, w, h = (v * FINE for v in cell.box_mm)
        pen = round(0.7 * FINE)
        cv2.line(ink, (round(x + 0.2 * w), round(y - 6)), (round(x + 0.7 * w), round(y + h + 6)),
                 0.8, pen)  # fmt: skip
    found = match_tiles(ink, list(prepared.boxes), np.full(len(prepared.boxes), 1.2), FINE)
    assert np.abs(found.shift_mm - (0.4, 0.2)).max() < 0.08


def test_a_covered_corner_shows_in_the_frames_gains(
    prepared: PreparedPage, bean_book: LayoutBook
) -> None:
    ink = shifted_ink(bean_book, 0.0, 0.0)
    whole = corner_gains(ink, prepared.boxes[0], np.zeros(2), FINE)
    assert np.all((whole > 0.6) & (whole < 0.8))
    x, y, w, h = (round(v * FINE) for v in prepared.page.cells[0].box_mm)
    ink[y + h // 2 : y + h + 12, x + w // 2 : x + w + 12] = 0.4
    gains = corner_gains(ink, prepared.boxes[0], np.zeros(2), FINE)
    assert gains[2] < 0.05
    assert np.allclose(gains[[0, 1, 3]], whole[[0, 1, 3]], atol=0.05)


def test_nothing_is_found_on_blank_paper(prepared: PreparedPage) -> None:
    blank = np.zeros((1485, 1050), np.float32)
    found = match_tiles(blank, list(prepared.boxes[:5]), np.full(5, 1.0), FINE)
    assert found.score.max() <= 0.0


def test_a_site_sheet_uses_the_blank_sheets_print(
    prepared: PreparedPage, bean_book: LayoutBook
) -> None:
    site = bean_book.layout(bean_book.study.sites[0].number).pages[0]
    same = boxes_of(prepared, site)
    assert same is not None
    assert len(same.boxes) == len(site.cells) < len(prepared.boxes)


def test_other_paper_does_not_use_it(prepared: PreparedPage, pool_book: LayoutBook) -> None:
    assert boxes_of(prepared, pool_book.layout().pages[0]) is None
