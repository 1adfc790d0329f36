"""Doubtful boxes are read a second time, by the larger network."""

from __future__ import annotations

import hashlib
import json
from importlib import resources

import numpy as np
import pytest
from numpy.typing import NDArray

from sheet_reader.digits import read as again
from sheet_reader.digits.classes import CLASSES
from sheet_reader.digits.read import LARGER_WEIGHTS, doubtful, larger_reader, read_boxes, read_sheet

EMPTY_AT = CLASSES.index("empty")


def _rows(*likeliest: float, at: int = 7) -> NDArray[np.float64]:
    """Rows (N, 14) whose class ``at`` has that probability, the next one the rest."""
    rows = np.zeros((len(likeliest), len(CLASSES)))
    rows[:, at] = likeliest
    rows[:, (at + 1) % 10] = 1.0 - np.array(likeliest)
    return rows


def test_only_doubtful_boxes_are_read_again() -> None:
    found = doubtful(_rows(0.9995, 0.98, 0.995, 0.6, *[0.9995] * 30))
    assert found.tolist() == [1, 3]


def test_on_a_sheet_with_several_unclear_digits_nearly_all_are_read_again() -> None:
    usual = [0.6, *[0.999] * 20]
    assert len(doubtful(_rows(*usual))) == 1
    odd = [0.6, 0.7, 0.8, *[0.999] * 17, 0.99999]
    assert doubtful(_rows(*odd)).tolist() == list(range(20))


def test_a_plainly_empty_box_is_never_read_again() -> None:
    rows = np.concatenate([_rows(0.6, 0.7, 0.8), _rows(0.995, 0.9, at=EMPTY_AT)])
    assert doubtful(rows).tolist() == [0, 1, 2, 4]


def test_a_sheet_without_boxes_or_digits_has_none() -> None:
    assert doubtful(np.zeros((0, len(CLASSES)))).tolist() == []
    assert doubtful(_rows(0.999, 0.999, at=EMPTY_AT)).tolist() == []
    assert read_sheet(np.zeros((0, 64, 64), np.uint8)).probabilities.shape == (0, len(CLASSES))


def test_the_larger_network_decides_doubtful_boxes_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    crops = _written()
    small, large = read_boxes(crops), larger_reader().read_boxes(crops)
    at = doubtful(small.probabilities)
    assert 0 < len(at) < len(crops)
    found = read_sheet(crops).probabilities
    others = np.setdiff1d(np.arange(len(crops)), at)
    assert np.array_equal(found[others], small.probabilities[others])
    np.testing.assert_allclose(found[at], large.probabilities[at], atol=1e-5)
    assert found.sum(axis=1) == pytest.approx(1.0)
    monkeypatch.setattr(again, "larger_reader", lambda: pytest.fail("read again without doubt"))
    assert np.array_equal(read_sheet(crops[others]).probabilities, small.probabilities[others])


def test_the_larger_network_is_the_one_its_record_tells_of() -> None:
    package = resources.files("sheet_reader.digits")
    told = json.loads(package.joinpath("larger_training.json").read_text("utf-8"))
    weights = package.joinpath(LARGER_WEIGHTS).read_bytes()
    assert told["weights.onnx sha256"] == hashlib.sha256(weights).hexdigest()
    small = json.loads(package.joinpath("training.json").read_text("utf-8"))
    assert told["teacher sha256"] == small["teacher sha256"]
    assert told["data sha256"] == small["data sha256"]


def test_fewer_digits_are_misread_than_by_the_small_network_alone() -> None:
    """On scikit-learn's copy of the UCI optdigits test set, in sheets of forty boxes."""
    datasets = pytest.importorskip("sklearn.datasets")
    found = datasets.load_digits()
    crops = _as_boxes(found.images[:800])
    truth = found.target[:800]
    small = read_boxes(crops).probabilities[:, :10].argmax(axis=1)
    sheets = [read_sheet(part).probabilities for part in np.split(crops, 20)]
    both = np.concatenate(sheets)[:, :10].argmax(axis=1)
    assert (both != truth).sum() < (small != truth).sum()


def _written() -> NDArray[np.uint8]:
    """Thirty boxes with a clear stroke, and two with something between a 1 and a 7."""
    crops = np.full((32, 64, 64), 240, np.uint8)
    crops[:, 14:50, 31:34] = 40
    crops[30:, 14:18, 24:34] = 120
    crops[31, 16:24, 20:26] = 140
    return crops


def _as_boxes(bitmaps: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Bitmaps (N, 8, 8) of 0..16 as grey crops of boxes."""
    cv2 = pytest.importorskip("cv2")
    crops = np.full((len(bitmaps), 64, 64), 235, np.uint8)
    for crop, bitmap in zip(crops, bitmaps, strict=True):
        ink = cv2.resize(bitmap.astype(np.float32), (36, 36), interpolation=cv2.INTER_CUBIC)
        crop[14:50, 14:50] = np.clip(235 - 12.0 * ink, 30, 240).astype(np.uint8)
    return crops


