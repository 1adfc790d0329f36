"""The sample studies' books and the real photographs, for the tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import Page
from sheet_reader.study.reader import read_study

cv2.setNumThreads(1)
HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
SHARED_PHOTOS = ROOT.parent / "shared" / "data" / "photos"
sys.path.insert(0, str(HERE))  # for desk_pictures, which the tests share


@pytest.fixture(scope="session")
def bean_book() -> LayoutBook:
    return LayoutBook(read_study(ROOT / "samples" / "bean_tips"))


@pytest.fixture(scope="session")
def pool_book() -> LayoutBook:
    return LayoutBook(read_study(ROOT / "samples" / "rock_pools"))


@pytest.fixture(scope="session")
def photo_folder() -> Path:
    if not SHARED_PHOTOS.is_dir():
        pytest.skip("the real photographs (../shared/data/photos) are not on this machine")
    return SHARED_PHOTOS


@pytest.fixture(scope="session")
def page(bean_book: LayoutBook) -> Page:
    """A site's first page."""
    return bean_book.layout("2043").pages[0]


@pytest.fixture(scope="session")
def plain(bean_book: LayoutBook, page: Page) -> NDArray[np.uint8]:
    from desk_pictures import PLACE, lay

    canvas = np.full((1900, 1400), 110, np.uint8)
    lay(canvas, bean_book.template(page, 8.0), page, PLACE)
    return canvas
