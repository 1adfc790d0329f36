from __future__ import annotations

import cv2
import pytest

from sheet_reader.demo.samples import sample_folder
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.study.reader import read_study

cv2.setNumThreads(1)


@pytest.fixture(scope="session")
def beans() -> LayoutBook:
    return LayoutBook(read_study(sample_folder("bean_tips")))


@pytest.fixture(scope="session")
def pools() -> LayoutBook:
    return LayoutBook(read_study(sample_folder("rock_pools")))


@pytest.fixture(scope="session")
def hands() -> ProceduralHands:
    return ProceduralHands()
