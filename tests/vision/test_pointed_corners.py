"""A sheet read by the corners that a person pointed at, where no marker can be seen."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from desk_pictures import Gray, Place, lay, standing, true_centres

from sheet_reader.reasons import Code, because
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import BLANK, Page
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import POINTED, NoSheet, SheetView
from sheet_reader.vision.pointed import find_by_corners, implausible

SCALE = 6.0


@pytest.fixture(scope="module")
def page(bean_book: LayoutBook) -> Page:
    return bean_book.layout("2043").pages[0]


@pytest.fixture(scope="module")
def place() -> Place:
    return Place(standing(SCALE, 110, 90, 2.5))


@pytest.fixture(scope="module")
def covered(bean_book: LayoutBook, page: Page, place: Place) -> Gray:
    """A photo in which every marker and the machine code are smeared over."""
    rng = np.random.default_rng(5)
    canvas = np.asarray(rng.normal(105, 6, (2000, 1500)), np.uint8)
    lay(canvas, bean_book.template(page, 8.0), page, place)
    for marker in page.markers:
        corners = place.to_px(np.asarray(marker.corners_mm, np.float64))
        x, y, w, h = cv2.boundingRect(corners.astype(np.float32))
        canvas[y - 6 : y + h + 6, x - 6 : x + w + 6] = 150
    return np.asarray(cv2.GaussianBlur(canvas, (0, 0), 0.7), np.uint8)


def corners_of(page: Page, place: Place, off_px: float = 0.0) -> np.ndarray:
    mm = [[0, 0], [page.width_mm, 0], [page.width_mm, page.height_mm], [0, page.height_mm]]
    rng = np.random.default_rng(2)
    return place.to_px(np.array(mm, np.float64)) + rng.uniform(-off_px, off_px, (4, 2))


@pytest.mark.parametrize("off_mm", [0.0, 1.5])
def test_boxes_are_found_though_no_marker_is_seen(
    bean_book: LayoutBook, page: Page, place: Place, covered: Gray, off_mm: float
) -> None:
    assert all(isinstance(finding, NoSheet) for finding in find_sheets(covered, bean_book))
    corners = corners_of(page, place, off_mm * SCALE)
    view = find_by_corners(covered, page, corners, bean_book)
    assert isinstance(view, SheetView)
    assert view.identified_by == POINTED
    seen = np.array([box.corners_px.mean(axis=0) for box in view.boxes])
    off = np.linalg.norm(seen - true_centres(page, place), axis=1) / SCALE
    placed = np.array([not box.occluded for box in view.boxes])
    assert placed.mean() > 0.95
    assert off[placed].max() < 0.3


def refused(gray: Gray, page: Page, corners: np.ndarray, book: LayoutBook) -> Code:
    found = find_by_corners(gray, page, corners, book)
    assert isinstance(found, NoSheet)
    return found.reason.code


UNTOUCHED = np.array([[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]])


def test_nothing_is_read_where_the_print_does_not_lie(
    bean_book: LayoutBook, pool_book: LayoutBook, page: Page, place: Place, covered: Gray
) -> None:
    corners = corners_of(page, place)
    middle, high, wide = corners.mean(axis=0), *covered.shape
    wrong = {
        "upside down": corners[[2, 3, 0, 1]],
        "a row of boxes further down": corners + np.array([0, 9 * SCALE]),
        "a part of the sheet": middle + 0.7 * (corners - middle),
        "as they came": UNTOUCHED * (wide, high),
    }
    for what, at in wrong.items():
        assert implausible(at, page, covered.shape) is None, what
        assert refused(covered, page, at, bean_book) is Code.PRINT_NOT_THERE, what
    foreign = pool_book.layout(pool_book.study.sites[0].number).pages[0]
    assert refused(covered, foreign, corners, pool_book) is Code.PRINT_NOT_THERE
    table = np.full_like(covered, 140)
    assert refused(table, page, corners, bean_book) is Code.PRINT_NOT_THERE


def test_another_sheet_than_is_printed_there_is_refused(
    bean_book: LayoutBook, pool_book: LayoutBook, page: Page, place: Place, covered: Gray
) -> None:
    corners = corners_of(page, place)
    other = next(s.number for s in bean_book.study.sites if s.number != page.code.sheet)
    for sheet in (other, BLANK):
        chosen = bean_book.layout(sheet).pages[0]
        assert refused(covered, chosen, corners, bean_book) is Code.PRINT_SAYS, sheet
    first, second, *_ = pool_book.layout(pool_book.study.sites[0].number).pages
    canvas = np.full((2000, 1500), 105, np.uint8)
    lay(canvas, pool_book.template(first, 8.0), first, place)
    at = corners_of(first, place)
    assert refused(canvas, second, at, pool_book) is Code.PRINT_SAYS
    assert isinstance(find_by_corners(canvas, first, at, pool_book), SheetView)


def test_corners_of_no_page_are_refused(bean_book: LayoutBook, page: Page, place: Place) -> None:
    gray, corners = np.full((2000, 1500), 105, np.uint8), corners_of(page, place)
    middle = corners.mean(axis=0)
    odd = {
        "mirrored": corners[::-1],
        "bent": corners[[0, 2, 1, 3]],
        "small": corners * 0.05,
        "missing": corners[:3],
        "outside": middle + 1e6 * (corners - middle),
        "shape": corners[[1, 2, 3, 0]],
    }
    for what, at in odd.items():
        found = find_by_corners(gray, page, at, bean_book)
        assert isinstance(found, NoSheet)
        assert found.reason == because(Code.CORNERS_ODD, what=what), what
    assert refused(gray, page, corners * np.nan, bean_book) is Code.CORNERS_ODD
    folded = np.where([[True], [True], [False], [True]], corners, corners[1] * 0.6 + middle * 0.4)
    assert refused(gray, page, folded, bean_book) is Code.CORNERS_ODD
    assert implausible(corners, page, gray.shape) is None


@pytest.mark.parametrize("degrees", [0, 25, 45])
def test_a_page_seen_at_an_angle_is_plausible(page: Page, degrees: float) -> None:
    """A pinhole camera 45 cm above the middle of a page that is tilted about each of its sides."""
    mm = np.array([[0, 0], [page.width_mm, 0], [page.width_mm, page.height_mm],
                   [0, page.height_mm]]) - (page.width_mm / 2, page.height_mm / 2)  # fmt: skip
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    for axis in (0, 1):
        depth = 450 + sin * mm[:, axis]
        seen = mm * np.where(np.arange(2) == axis, cos, 1.0)
        corners = 1800 * seen / depth[:, None] + (1500, 1500)
        assert implausible(corners, page, (3000, 3000)) is None
