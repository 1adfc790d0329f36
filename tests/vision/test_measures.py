"""Small measures: edges, glare, paper, ink, where crops lie; against shapes of known value."""

from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import erf

from sheet_reader.vision.crops import (
    _WEIGHTS,
    crop_quads,
    ink_shares,
    inner_slices,
    paper_ratio,
    remove_neighbour_ink,
)
from sheet_reader.vision.findings import CROP_MARGIN_MM, CROP_PX
from sheet_reader.vision.flat_page import FlatPage
from sheet_reader.vision.match import _second_peak, _step, _window
from sheet_reader.vision.quality import (
    Sharpness,
    _edge_spreads,
    glare_share,
    sharpness,
    what_is_outside,
)
from sheet_reader.vision.view import _clearness, _corner_levels, _paper_near

BOX = (0.0, 0.0, 8.2, 9.8)


def page_of(gray: np.ndarray, level: int = 220, inside: np.ndarray | None = None) -> FlatPage:
    return FlatPage(gray.astype(np.uint8), np.full(gray.shape, level, np.uint8), inside, 5.0)


@pytest.mark.parametrize("sd_mm", [0.1, 0.2, 0.3])
def test_the_blur_of_an_edge_is_its_standard_deviation(sd_mm: float) -> None:
    """A sharp edge under a Gaussian of s mm is an error function of s."""
    place = np.linspace(-1.1, 1.1, 45)
    profile = 125 + 75 * erf(place / sd_mm / np.sqrt(2))
    blur, contrast = _edge_spreads(profile[None])
    assert blur[0] == pytest.approx(sd_mm, abs=0.03)
    assert contrast[0] == pytest.approx(150 / 200, abs=0.02)


def test_without_an_edge_there_is_no_blur_to_tell() -> None:
    blur, contrast = _edge_spreads(np.full((2, 45), 130.0))
    assert np.isnan(blur).all()
    assert contrast.tolist() == [0.0, 0.0]


def test_without_markers_nothing_is_known_about_sharpness() -> None:
    none = sharpness(SimpleNamespace(), SimpleNamespace(), [])  # type: ignore[arg-type]
    blur, contrast = none.at(np.zeros((3, 2)))
    assert np.isnan(blur).all()
    assert np.isnan(contrast).all()


def test_blur_between_markers_lies_between_theirs_and_near_one_is_its_own() -> None:
    two = Sharpness(np.array([[0.0, 0], [200, 0]]), np.array([0.1, 0.3]), np.array([0.9, 0.5]))
    blur, contrast = two.at(np.array([[0.0, 0], [100, 0], [200, 0]]))
    assert blur[1] == pytest.approx(0.2)
    assert contrast[1] == pytest.approx(0.7)
    assert blur[0] < 0.11
    assert blur[2] > 0.29


def test_glare_is_a_bright_part_of_a_page_that_is_not_bright() -> None:
    gray = np.full((400, 400), 180)
    gray[:200, :200] = 254
    assert glare_share(page_of(gray)) == pytest.approx(0.25, abs=0.01)
    assert glare_share(page_of(np.full((400, 400), 254))) == 0.0, "a scan is white all over"
    outside = np.zeros((400, 400), bool)
    assert glare_share(page_of(gray, inside=outside)) == 0.0
    outside[200:] = True
    assert glare_share(page_of(gray, inside=outside)) == 0.0, "the glare lies outside"


def test_blank_paper_is_a_little_darker_than_its_level() -> None:
    rng = np.random.default_rng(1)
    assert paper_ratio(page_of(rng.normal(209, 3, (500, 500)))) == pytest.approx(0.95, abs=0.01)
    assert paper_ratio(page_of(np.full((500, 500), 20))) == 0.97, "too little blank paper"


def test_a_crop_shows_its_box_and_a_margin_and_moves_with_the_shift() -> None:
    boxes = np.array([[10.0, 20.0, 8.0, 9.0], [50.0, 60.0, 8.0, 9.0]])
    quads = crop_quads(boxes, np.array([[0.0, 0.0], [0.5, -0.25]]))
    m = CROP_MARGIN_MM
    assert quads[0].tolist() == [
        [10 - m, 20 - m],
        [18 + m, 20 - m],
        [18 + m, 29 + m],
        [10 - m, 29 + m],
    ]
    assert np.allclose(quads[1] - crop_quads(boxes, np.zeros((2, 2)))[1], (0.5, -0.25))


def test_pixels_of_a_crop_lie_where_opencv_puts_them() -> None:
    """In a parallelogram the bilinear map is the affine one of the same corners."""
    corners = np.array([[3.0, 4.0], [67, 14], [57, 84], [-7, 74]])
    places = (_WEIGHTS @ corners).reshape(CROP_PX, CROP_PX, 2)
    source = np.float32([[-0.5, -0.5], [63.5, -0.5], [63.5, 63.5]])
    affine = cv2.getAffineTransform(source, corners[:3].astype(np.float32))
    rows, columns = np.mgrid[:CROP_PX, :CROP_PX]
    expected = np.stack([columns, rows, np.ones_like(rows)], axis=-1) @ affine.T
    assert np.abs(places - expected).max() < 1e-3
    assert np.allclose(_WEIGHTS.sum(axis=1), 1.0)


@given(width=st.floats(5, 12), height=st.floats(5, 12), inset=st.floats(-0.9, 2.0))
def test_the_inside_of_a_box_is_in_the_middle_of_its_crop(
    width: float, height: float, inset: float
) -> None:
    rows, columns = inner_slices((0.0, 0.0, width, height), inset)
    assert rows.start + rows.stop == columns.start + columns.stop == CROP_PX
    shown = (columns.stop - columns.start) / CROP_PX * (width + 2 * CROP_MARGIN_MM)
    assert shown == pytest.approx(width - 2 * inset, abs=0.25)


@pytest.mark.parametrize("side", [0, 63])
def test_a_neighbours_stroke_is_removed_on_either_side(side: int) -> None:
    crop = np.full((64, 64), 245, np.uint8)
    crop[20:40, max(side - 4, 0) : side + 5] = 60
    crop[10:50, 30:34] = 60
    cleaned = remove_neighbour_ink(crop, BOX)
    assert cleaned[20:40, side].min() >= 240
    assert np.array_equal(cleaned[:, 20:44], crop[:, 20:44]), "the box's own digit stays"
    assert crop[30, side] == 60, "the crop given is kept"


def test_a_filled_box_is_ink_although_it_has_no_ground() -> None:
    crops = [np.full((64, 64), grey, np.uint8) for grey in (245, 245, 60, 245, 245)]
    shares, _ = ink_shares(crops, np.array([BOX] * 5))
    assert shares.tolist() == [0.0, 0.0, 1.0, 0.0, 0.0]


def test_boxes_of_two_sizes_are_measured_each_in_its_own_inside() -> None:
    rng = np.random.default_rng(5)
    crops = [np.clip(rng.normal(243, 2, (64, 64)), 0, 255).astype(np.uint8) for _ in range(4)]
    for crop in crops[::2]:
        crop[28:36, 20:44] = 50
    boxes = np.array([BOX, BOX, (0, 0, 6.0, 6.0), (0, 0, 6.0, 6.0)])
    shares, _ = ink_shares(crops, boxes)
    assert (shares[[0, 2]] > 0.08).all()
    assert (shares[[1, 3]] == 0).all()


def test_the_second_peak_is_the_highest_outside_the_first() -> None:
    table = np.zeros((40, 40), np.float32)
    table[10, 10], table[12, 11], table[30, 25] = 1.0, 0.9, 0.6
    assert _second_peak(table.copy(), 10, 10, 4) == pytest.approx(0.6)
    assert _second_peak(table.copy(), 10, 10, 1) == pytest.approx(0.9)
    assert _second_peak(-table, 10, 10, 4) == 0.0


def test_a_window_over_the_edge_sees_blank_paper_there() -> None:
    ink = np.ones((10, 10), np.float32)
    window = _window(ink, -3, 7, 8, 6)
    assert window.shape == (6, 8)
    assert window[:3, 3:].min() == 1.0
    assert window[3:].max() == window[:, :3].max() == 0.0


@pytest.mark.parametrize(("offset", "step"), [(0.4, 0), (-0.4, 0), (0.6, 1), (-7.0, -1)])
def test_the_search_goes_on_by_single_pixels(offset: float, step: int) -> None:
    assert _step(offset) == step


def located(gains: list[list[float]], confirmed: list[bool]) -> SimpleNamespace:
    return SimpleNamespace(gains=np.array(gains), confirmed=np.array(confirmed))


def test_a_frame_is_as_clear_as_the_sheets_others() -> None:
    clear = _clearness(located([[0.8] * 4, [0.4] * 4, [-0.1] * 4, [2.0] * 4], [True] * 4))
    typical = np.median([0.8, 0.4, -0.1, 2.0])
    assert clear.tolist() == pytest.approx([1.0, 0.4 / typical, 0.0, 1.0])
    assert _clearness(located([[0.5] * 4], [False])).tolist() == [0.5]


def test_the_ground_is_looked_up_at_each_corner_of_a_box() -> None:
    level = np.full((100, 100), 200, np.uint8)
    level[:50, 50:] = 90
    flat = FlatPage(level, level, None, 5.0)
    found = _corner_levels(flat, np.array([[10.0, 10.0]]), np.array([[8.0, 8.0]]))
    assert found.tolist() == [[200, 90, 200, 200]], "clockwise from top left"
    beside = _corner_levels(flat, np.array([[-50.0, 500.0]]), np.array([[8.0, 8.0]]))
    assert beside.tolist() == [[200] * 4], "beyond the page the nearest place counts"


def test_paper_is_what_confirmed_boxes_nearby_lie_on() -> None:
    centres = np.array([[10.0, 10], [20, 10], [15, 20], [180, 250]])
    level = np.array([[200.0] * 4, [210.0] * 4, [60.0] * 4, [120.0] * 4])
    confirmed = np.array([True, True, False, True])
    paper = _paper_near(level, centres, confirmed, np.array([False, False, True, False]))
    assert paper.tolist() == [200, 200, 205, 200]
    assert _paper_near(level, centres, confirmed & False, confirmed).tolist() == [0] * 4


@given(dx=st.floats(-90, 90), dy=st.floats(-90, 90))
def test_nothing_is_outside_while_all_corners_are_inside(dx: float, dy: float) -> None:
    corners = np.array([[100.0, 100], [900, 100], [900, 1400], [100, 1400]]) + np.array([dx, dy])
    assert what_is_outside(corners, (1500, 1000)) == ""
    assert what_is_outside(corners + np.array([1000, 0]), (1500, 1000)) != ""
