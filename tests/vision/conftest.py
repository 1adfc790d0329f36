"""The sample studies' books and the real photographs, for the tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import pytest

from sheet_reader.sheet.book import LayoutBook
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
