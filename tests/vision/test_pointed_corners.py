"""A sheet read by the corners that a person pointed at, where no marker can be seen."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from desk_pictures import Gray, Place, lay, standing, true_centres

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.model import Page
from sheet_reader.vision.find import POINTED, find_by_corners, find_sheets, is_page_like
from sheet_reader.vision.types import NoSheet

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
    assert view.identified_by == POINTED
    seen = np.array([box.corners_px.mean(axis=0) for box in view.boxes])
    off = np.linalg.norm(seen - true_centres(page, place), axis=1) / SCALE
    placed = np.array([not box.occluded for box in view.boxes])
    assert placed.mean() > 0.95
    assert off[placed].max() < 0.3


def test_another_page_at_that_place_gives_no_boxes(
    bean_book: LayoutBook, page: Page, place: Place, covered: Gray
) -> None:
    """Pointing at the wrong corners must not read anything that is not there."""
    upside_down = corners_of(page, place)[[2, 3, 0, 1]]
    view = find_by_corners(covered, page, upside_down, bean_book)
    placed = [not box.occluded for box in view.boxes]
    assert np.mean(placed) < 0.35


def test_corners_of_no_page_are_refused(bean_book: LayoutBook, page: Page, place: Place) -> None:
    corners = corners_of(page, place)
    crossed, small, nowhere = corners[[0, 2, 1, 3]], corners * 0.05, corners * np.nan
    for odd in (corners[::-1], crossed, small, corners[:3], nowhere):
        assert not is_page_like(odd)
        with pytest.raises(ValueError, match="corners"):
            find_by_corners(np.zeros((100, 100), np.uint8), page, odd, bean_book)
    assert is_page_like(corners)
