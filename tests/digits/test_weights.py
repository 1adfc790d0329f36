"""The committed weights: they must not read worse than when they were committed.

Source of the digits: scikit-learn's copy of the test set of "Optical Recognition of Handwritten
Digits" (UCI, Alpaydin & Kaynak 1998): 1,797 digits, 8 × 8 counts of ink, hands of 13 people.
"""

from __future__ import annotations

import time

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from sheet_reader.digits import measures, read_boxes
from sheet_reader.digits.sets import clean_crops

sklearn_datasets = pytest.importorskip("sklearn.datasets")


@pytest.fixture(scope="module")
def optdigits() -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    data = sklearn_datasets.load_digits()
    images = np.round(data.images * (255.0 / 16.0)).astype(np.uint8)
    return clean_crops(images), data.target.astype(np.int64)


def test_the_weights_read_the_uci_digits_as_well_as_when_committed(
    optdigits: tuple[NDArray[np.uint8], NDArray[np.int64]],
) -> None:
    crops, labels = optdigits
    figures = measures.figures(read_boxes(crops).probabilities, labels)
    print(figures)
    assert figures.error <= 0.05
    assert figures.error_at_2 <= 0.04


def test_a_hundred_boxes_are_fast(
    optdigits: tuple[NDArray[np.uint8], NDArray[np.int64]],
) -> None:
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        read_boxes(optdigits[0][:100])
        spent = []
        for _ in range(5):
            begun = time.perf_counter()
            read_boxes(optdigits[0][:100])
            spent.append(time.perf_counter() - begun)
    finally:
        cv2.setNumThreads(threads)
    # 40 ms is the aim on a quiet core; a busy machine may take several times as long.
    assert min(spent) < 0.25
