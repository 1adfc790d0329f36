"""The public function: what comes in, what comes out."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from sheet_reader.digits.classes import CLASSES
from sheet_reader.digits.normalise import normalise
from sheet_reader.digits.read import read_boxes


def _crops(count: int) -> NDArray[np.uint8]:
    rng = np.random.default_rng(4)
    return rng.integers(0, 256, (count, 64, 64), dtype=np.uint8)


def test_rows_are_probabilities_of_the_fourteen_classes() -> None:
    readings = read_boxes(_crops(7))
    assert readings.classes == CLASSES
    assert len(CLASSES) == 14
    assert readings.probabilities.shape == (7, 14)
    assert readings.probabilities.dtype == np.float64
    assert np.allclose(readings.probabilities.sum(axis=1), 1.0, atol=1e-12)
    assert readings.probabilities.min() >= 0.0


def test_no_crops_give_no_rows() -> None:
    assert read_boxes(_crops(0)).probabilities.shape == (0, 14)


def test_the_answer_depends_on_the_crop_alone() -> None:
    crops = _crops(230)
    whole = read_boxes(crops).probabilities
    assert np.array_equal(whole, read_boxes(crops).probabilities)
    single = np.vstack([read_boxes(crops[k : k + 1]).probabilities for k in (0, 99, 100, 229)])
    assert np.allclose(whole[[0, 99, 100, 229]], single, atol=1e-6)


@pytest.mark.parametrize("dtype", [np.float32, np.int64, np.bool_])
def test_another_dtype_is_refused(dtype: type) -> None:
    with pytest.raises(TypeError, match="uint8"):
        read_boxes(np.zeros((1, 64, 64), dtype))


@pytest.mark.parametrize("shape", [(64, 64), (1, 64, 63), (1, 28, 28), (1, 64, 64, 1)])
def test_another_shape_is_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="64"):
        read_boxes(np.zeros(shape, np.uint8))


@pytest.mark.parametrize("level", [0, 1, 128, 255])
def test_a_crop_of_one_grey_is_no_digit(level: int) -> None:
    readings = read_boxes(np.full((1, 64, 64), level, np.uint8))
    assert np.isfinite(readings.probabilities).all()
    assert readings.probabilities[0, :10].sum() < 0.5


def test_the_view_of_a_crop_does_not_change_with_the_light() -> None:
    crops = _crops(3) // 2 + 100
    darker = (crops * 0.5).astype(np.uint8)
    assert np.abs(normalise(crops) - normalise(darker)).max() < 0.03


def test_both_views_have_the_documented_range() -> None:
    planes = normalise(_crops(5))
    assert planes.shape == (5, 8, 32, 32)
    assert planes.dtype == np.float32
    assert planes[:, :4].min() >= -0.25
    assert planes[:, :4].max() <= 1.0
    assert planes[:, 4:].min() >= 0.0
    assert planes[:, 4:].max() <= 1.5
