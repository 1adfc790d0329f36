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
from thorough import only

from sheet_reader.digits.read import read_boxes
from sheet_reader.lab import measures
from sheet_reader.lab.evaluate import digit_sets, empty_and_several
from sheet_reader.lab.sets import clean_crops, data_folder, own_frame
from sheet_reader.simulate.hand import random_hand, sign_strokes
from sheet_reader.simulate.pens import random_pen, render_strokes

LINE_MISSED = 0.02
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
    # As committed 2.3 %, 1.5 % and 0.9 %; room for other processors' rounding, not for a worse net.
    assert figures.error <= 0.028
    assert figures.error_at_2 <= 0.019
    assert figures.calibration <= 0.02


# Error and error at 2 % rejected, in per cent: as committed, with a little room.
SHARED = {
    "mnist": (0.75, 0.3),
    "pendigits_orig": (1.5, 0.6),
    "unipen_1a": (1.2, 0.5),
    "chars74k_hnd": (0.4, 0.2),
    "semeion": (3.5, 1.8),
    "boxed_uk_hand": (1.6, 0.2),
}
MANY_THOUSANDS = ("mnist", "pendigits_orig", "unipen_1a")
needs_sets = pytest.mark.skipif(
    not (data_folder() / "unipen_1a.npz").exists(), reason="the digit sets in ../shared are absent"
)


@needs_sets
@pytest.mark.slow
@pytest.mark.parametrize("name", [only(n) if n in MANY_THOUSANDS else n for n in SHARED])
def test_the_weights_read_the_other_sets_as_well_as_when_committed(name: str) -> None:
    error, error_at_2 = SHARED[name]
    test = next(test for test in digit_sets() if test.name == name)
    figures = measures.figures(read_boxes(test.crops).probabilities, test.labels)
    assert 100 * figures.error <= error, figures
    assert 100 * figures.error_at_2 <= error_at_2, figures


@needs_sets
def test_photographed_boxes_without_one_digit_are_not_read_as_one() -> None:
    blank, several = empty_and_several()
    assert measures.sure_digits(read_boxes(blank.crops).probabilities) <= 0.002
    assert measures.sure_digits(read_boxes(several.crops).probabilities) <= 0.02


@pytest.mark.parametrize("sign", ["dash", "tick", "question mark", "cross", "long dash"])
def test_signs_are_not_read_as_digits(sign: str) -> None:
    rng = np.random.default_rng(21)
    paper = 235.0 * (1.0 - 0.8 * own_frame())
    crops = []
    for _ in range(40):
        hand = random_hand(rng)
        ink = render_strokes(sign_strokes(sign, hand, rng), 64, random_pen(rng, "ballpoint"), rng)
        crops.append(np.round(paper * (1.0 - ink)).astype(np.uint8))
    assert measures.sure_digits(read_boxes(np.array(crops)).probabilities) <= 0.03


@pytest.mark.parametrize("height", range(24, 42, 3))
def test_a_digit_struck_by_a_line_is_not_read_as_the_digit(
    height: int, optdigits: tuple[NDArray[np.uint8], NDArray[np.int64]]
) -> None:
    crops, labels = optdigits
    struck = crops[(labels != 1) & (labels != 7)][:150].copy()
    struck[:, height : height + 3, :] = 40
    assert measures.sure_digits(read_boxes(struck).probabilities) <= LINE_MISSED


def test_a_hundred_boxes_are_fast(
    optdigits: tuple[NDArray[np.uint8], NDArray[np.int64]],
) -> None:
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        read_boxes(optdigits[0][:100])
        spent = []
        for _ in range(5):
            begun = time.process_time()  # other programs don't count
            read_boxes(optdigits[0][:100])
            spent.append(time.process_time() - begun)
    finally:
        cv2.setNumThreads(threads)
    # 40 ms is the aim; shared caches and a core's other thread may cost several times as much.
    assert min(spent) < 0.25
