"""What the network sees of a crop: paper level, folds and scaling, against plain arithmetic."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheet_reader.digits.normalise import (
    NORMALISE,
    _dilated,
    _fold,
    normalise,
    spread_matrix,
)
from sheet_reader.digits.read import BoxReader, read_boxes


def paper(level: float = 240.0) -> np.ndarray:
    return np.full((64, 64), level)


def crops(*pictures: np.ndarray) -> np.ndarray:
    return np.stack([np.clip(p, 0, 255).round().astype(np.uint8) for p in pictures])


def unfolded(planes: np.ndarray) -> np.ndarray:
    """(4, 32, 32) back to the (64, 64) that it was folded from."""
    whole = np.empty((64, 64), planes.dtype)
    for place in range(4):
        whole[place // 2 :: 2, place % 2 :: 2] = planes[place]
    return whole


def test_folding_keeps_every_pixel_at_its_place() -> None:
    picture = np.arange(4096, dtype=np.float32).reshape(1, 64, 64)
    assert np.array_equal(unfolded(_fold(picture)[0]), picture[0])
    assert _fold(picture)[0, 1, 0, 0] == 1, "second plane: even rows, odd columns"
    assert _fold(picture)[0, 2, 0, 0] == 64


def test_every_row_of_the_spread_is_a_mean() -> None:
    spread = spread_matrix()
    assert spread.shape == (64, 16)
    assert spread.min() >= 0.0
    assert np.allclose(spread.sum(axis=1), 1.0, atol=1e-6)


def test_the_spread_of_a_line_is_the_line() -> None:
    """Away from the ends, where the window hangs over, means and interpolation keep a slope."""
    centres = np.arange(16) * 4 + 1.5
    assert np.allclose((spread_matrix() @ centres)[12:52], np.arange(12, 52), atol=1e-4)


def test_dilation_is_opencvs() -> None:
    blocks = np.random.default_rng(2).random((5, 16, 16)).astype(np.float32)
    side = 2 * NORMALISE.window_blocks + 1
    kernel = np.ones((side, side), np.uint8)
    expected = [cv2.dilate(b, kernel, borderType=cv2.BORDER_REPLICATE) for b in blocks]
    assert np.array_equal(_dilated(blocks), np.stack(expected))


def test_blank_paper_is_nothing_in_both_views() -> None:
    planes = normalise(crops(paper(240), paper(130)))
    assert np.abs(planes).max() < 1e-6


def test_the_first_view_is_the_share_of_light_that_is_missing() -> None:
    picture = paper(200.0)
    picture[28:36, 28:36] = 50.0
    first = unfolded(normalise(crops(picture))[0, :4])
    assert np.allclose(first[28:36, 28:36], 0.75, atol=1e-3)
    assert np.abs(first[:20]).max() < 1e-3


@pytest.mark.parametrize("grey", [60.0, 140.0, 200.0])
def test_pale_ink_becomes_full_in_the_second_view(grey: float) -> None:
    picture = paper(240.0)
    picture[16:48, 30:34] = grey
    second = unfolded(normalise(crops(picture))[0, 4:])
    assert second[28:36, 31:33] == pytest.approx(1.0, abs=0.05)


def test_what_is_fainter_than_a_tenth_is_not_blown_up() -> None:
    picture = paper(240.0)
    picture[16:48, 30:34] = 240.0 * 0.98
    second = unfolded(normalise(crops(picture))[0, 4:])
    assert second.max() == pytest.approx(0.02 / NORMALISE.ink_floor, abs=0.05)


def test_a_blackened_box_is_dark_in_the_first_view_and_stays_dark_in_the_second() -> None:
    picture = paper(240.0)
    picture[8:56, 8:56] = 30.0
    planes = normalise(crops(picture))[0]
    assert unfolded(planes[:4])[20:44, 20:44].min() > 0.8
    assert unfolded(planes[4:])[20:44, 20:44].min() > 0.7, "not taken for dark paper"


def test_a_shadow_over_half_the_box_is_paper_in_the_second_view() -> None:
    picture = paper(240.0)
    picture[:, 32:] = 170.0
    planes = normalise(crops(picture))[0]
    assert unfolded(planes[:4])[10:54, 40:60].mean() > 0.25
    assert unfolded(planes[4:])[10:54, 51:].max() < 0.05, "two windows beyond its edge"


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), gain=st.floats(0.4, 1.0))
def test_a_darker_exposure_gives_the_same_view(seed: int, gain: float) -> None:
    rng = np.random.default_rng(seed)
    picture = paper(235.0) + rng.normal(0, 2, (64, 64))
    cv2.line(picture, (20, int(rng.integers(10, 54))), (44, int(rng.integers(10, 54))), 70.0, 3)
    one, other = normalise(crops(picture, picture * gain))
    assert np.abs(one - other).max() < 0.06, "rounding to whole grey values"


def test_each_crop_is_normalised_by_itself() -> None:
    rng = np.random.default_rng(8)
    many = rng.integers(0, 256, (6, 64, 64), dtype=np.uint8)
    alone = np.concatenate([normalise(many[k : k + 1]) for k in range(6)])
    assert np.allclose(normalise(many), alone, atol=1e-6)


def test_no_crops_give_no_planes() -> None:
    assert normalise(np.zeros((0, 64, 64), np.uint8)).shape == (0, 8, 32, 32)


def test_calibration_cools_and_shifts_the_scores() -> None:
    """exp(score / T + shift), normalised: by the definition of both, from the raw outputs."""
    rng = np.random.default_rng(6)
    some = rng.integers(0, 256, (9, 64, 64), dtype=np.uint8)
    reader = BoxReader()
    raised = np.exp(reader.scores(some) * reader._sharpness + reader._shift)
    expected = raised / raised.sum(axis=1, keepdims=True)
    assert np.allclose(reader.read_boxes(some).probabilities, expected, atol=1e-12)


def test_a_reader_of_the_packages_own_files_is_the_packages_own(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from importlib.resources import files

    for name in ("weights.onnx", "calibration.json"):
        (tmp_path / name).write_bytes(files("sheet_reader.digits").joinpath(name).read_bytes())
    some = np.random.default_rng(7).integers(0, 256, (3, 64, 64), dtype=np.uint8)
    own = BoxReader.of_folder(tmp_path).read_boxes(some).probabilities
    assert np.array_equal(own, read_boxes(some).probabilities)


def test_what_is_no_array_is_refused_by_its_type() -> None:
    with pytest.raises(TypeError, match="list"):
        read_boxes([[1, 2]])  # type: ignore[arg-type]
