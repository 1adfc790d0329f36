"""Laying a page flat: pyramids, sampling grids and the paper's light, against plain algebra."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheet_reader.vision.flat_page import (
    FlatPage,
    Pyramid,
    at_depth,
    cut,
    flatten,
    grid_px,
    page_grid,
    paper_level,
)
from sheet_reader.vision.surface import (
    ControlGrid,
    Correspondences,
    FittedSurface,
    apply_homography,
    fit_surface,
)

PAGE = ControlGrid(60.0, 80.0)


def surface(homography: np.ndarray, curl: float = 0.0) -> FittedSurface:
    """A small page under ``homography``, its lines moved by up to ``curl`` mm."""
    xs, ys = np.meshgrid(np.linspace(0, 60, 9), np.linspace(0, 80, 11))
    page = np.stack([xs.ravel(), ys.ravel()], axis=1)
    moved = page + curl * np.stack([np.zeros(len(page)), np.sin(page[:, 1] / 80 * np.pi)], axis=1)
    seen = Correspondences(page, apply_homography(homography, moved), np.full(len(page), 0.02))
    return fit_surface(PAGE, homography, seen)


def scaled(scale: float, left: float = 0.0, top: float = 0.0) -> np.ndarray:
    return np.array([[scale, 0, left], [0, scale, top], [0, 0, 1.0]])


TILTED = np.array([[5.0, 0.3, 40.0], [-0.2, 5.1, 30.0], [3e-4, 4e-4, 1.0]])


def ramp(height: int, width: int, per_x: float, per_y: float) -> np.ndarray:
    """A picture that rises evenly: its value tells the place it was sampled at."""
    rows, columns = np.mgrid[:height, :width]
    return np.clip(columns * per_x + rows * per_y, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("shape", [(64, 64), (65, 101), (131, 70)])
def test_a_level_is_the_mean_of_two_by_two_pixels(shape: tuple[int, int]) -> None:
    picture = np.random.default_rng(1).integers(0, 256, shape, dtype=np.uint8)
    half = Pyramid(picture).level(1)
    height, width = shape[0] // 2, shape[1] // 2
    whole = picture[: 2 * height, : 2 * width].astype(float)
    mean = whole.reshape(height, 2, width, 2).mean(axis=(1, 3))
    assert half.shape == (height, width)
    assert np.abs(half - mean).max() <= 0.5


def test_levels_are_made_once_and_the_picture_is_the_first() -> None:
    picture = np.zeros((256, 256), np.uint8)
    pyramid = Pyramid(picture)
    assert pyramid.level(0) is picture
    assert pyramid.level(2) is pyramid.level(2)
    assert [level.shape for level in pyramid.levels] == [(256, 256), (128, 128), (64, 64)]


@given(wanted=st.floats(0.5, 20), seen=st.floats(0.5, 60))
def test_the_level_chosen_is_the_coarsest_that_is_fine_enough(wanted: float, seen: float) -> None:
    depth = Pyramid(np.zeros((4096, 4096), np.uint8)).depth_for(seen, wanted)
    assert 0 <= depth <= 6
    if depth > 0:
        assert seen / 2**depth >= 0.85 * wanted * (1 - 1e-9)
    if depth < 6:
        assert seen / 2 ** (depth + 1) < 0.85 * wanted * (1 + 1e-9)


def test_a_small_picture_is_not_reduced_away() -> None:
    assert Pyramid(np.zeros((60, 60), np.uint8)).depth_for(100.0, 1.0) == 0


@pytest.mark.parametrize("depth", [0, 1, 2, 3])
def test_pixel_centres_agree_between_levels(depth: int) -> None:
    """Pixel k of a level covers pixels k·2^d … of the picture: its centre is theirs."""
    size = 2**depth
    for pixel in (0, 3, 17):
        covered = np.arange(pixel * size, (pixel + 1) * size)
        centre = np.full((1, 1, 2), covered.mean(), np.float32)
        assert at_depth(centre, depth) == pytest.approx(pixel, abs=1e-5)


@pytest.mark.parametrize("depth", [0, 1, 2])
def test_sampling_gives_the_place_asked_for_at_every_level(depth: int) -> None:
    pyramid = Pyramid(ramp(240, 240, 0.5, 0.5))
    places = np.array([[[50.0, 60.0], [101.0, 33.0]], [[20.0, 200.0], [150.0, 90.0]]], np.float32)
    expected = places.sum(axis=2) / 2
    seen = pyramid.sample(depth, at_depth(places, depth)).astype(float)
    assert np.abs(seen - expected).max() <= 1.0


def test_beyond_the_edge_there_is_black() -> None:
    places = np.array([[[-5.0, 3.0], [3.0, 300.0], [3.0, 3.0]]], np.float32)
    assert Pyramid(np.full((90, 90), 200, np.uint8)).sample(0, places).tolist() == [[0, 0, 200]]


@settings(max_examples=20, deadline=None)
@given(curl=st.floats(-3, 3), left=st.floats(0, 90), top=st.floats(0, 90))
def test_a_grid_of_points_is_the_surface_at_those_points(
    curl: float, left: float, top: float
) -> None:
    paper = surface(TILTED @ scaled(1.0, left / 10, top / 10), curl)
    xs, ys = np.linspace(-3, 63, 7), np.linspace(-2, 85, 5)
    points = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    assert np.allclose(grid_px(paper, xs, ys).reshape(-1, 2), paper.to_px(points), atol=1e-8)


@pytest.mark.parametrize("px_per_mm", [2.5, 5.0, 7.3])
def test_every_pixel_of_the_flat_page_lies_where_the_surface_says(px_per_mm: float) -> None:
    paper = surface(TILTED, 2.0)
    dense = page_grid(paper, px_per_mm).dense(0)
    height, width = dense.shape[:2]
    assert (width, height) == (round(60 * px_per_mm), round(80 * px_per_mm))
    rows, columns = np.mgrid[:height, :width]
    points = np.stack([columns + 0.5, rows + 0.5], axis=-1).reshape(-1, 2) / px_per_mm
    off = np.linalg.norm(dense.reshape(-1, 2) - paper.to_px(points), axis=1)
    inner = ((points > 1.0) & (points < (59.0, 79.0))).all(axis=1)
    assert off[inner].max() < 0.05, "pixels, between nodes 2 mm apart"
    assert off.max() < 0.3, (
        "the outermost nodes lie beyond the page, where the paper goes on straight"
    )


def test_what_the_picture_does_not_show_is_known() -> None:
    paper = surface(scaled(4.0, -40.0, 10.0))
    grid = page_grid(paper, 2.0)
    inside = grid.inside((400, 400))
    assert inside is not None
    assert not inside[:, :19].any(), "10 mm at the left lie outside"
    assert inside[:, 21:].all()
    assert page_grid(surface(scaled(4.0, 20.0, 20.0)), 2.0).inside((400, 400)) is None


def test_points_outside_the_picture_are_not_seen() -> None:
    flat = flatten(
        Pyramid(np.full((400, 400), 200, np.uint8)), surface(scaled(4.0, -40.0, 10.0)), 2
    )
    assert flat.seen(np.array([[5.0, 40.0], [30.0, 40.0]])).tolist() == [False, True]
    whole = FlatPage(flat.gray, flat.level, None, 2.0)
    assert whole.seen(np.array([[5.0, 40.0], [999.0, 40.0]])).tolist() == [True, True]


def test_a_piece_cut_out_is_the_same_place_of_the_picture() -> None:
    """A ramp tells places: value = x / 2 at 5 px per mm, so 2.5 per mm."""
    picture = ramp(450, 350, 0.5, 0.0)
    piece = cut(Pyramid(picture), surface(scaled(5.0, 20.0, 20.0)), (10.0, 20.0, 12.0, 6.0), 5.0)
    assert piece.shape == (30, 60)
    columns = (10.0 + (np.arange(60) + 0.5) / 5.0) * 5.0 + 20.0
    assert np.abs(piece.astype(float) - columns / 2).max() <= 1.0
    assert np.ptp(piece, axis=0).max() <= 1


def test_a_piece_has_eight_pixels_at_least() -> None:
    piece = cut(Pyramid(ramp(450, 350, 0.5, 0)), surface(scaled(5.0)), (10.0, 20.0, 0.1, 0.1), 5.0)
    assert piece.shape == (8, 8)


def test_the_paper_is_seen_under_strokes_and_filled_boxes() -> None:
    page = np.full((300, 300), 210, np.uint8)
    cv2.line(page, (20, 20), (280, 260), 40, 4)
    page[100:145, 100:145] = 30  # 9 mm at 5 px per mm, less than the window of 12 mm
    assert paper_level(page, 5.0).min() >= 205


def test_a_covering_larger_than_the_window_is_no_paper() -> None:
    page = np.full((400, 400), 210, np.uint8)
    page[100:250, 100:250] = 60
    level = paper_level(page, 5.0)
    assert level[175, 175] < 70
    assert level[30, 30] == 210


def test_ink_is_darkness_against_the_paper_whatever_the_light() -> None:
    light = np.tile(np.linspace(90, 240, 300), (300, 1))
    dark = np.ones((300, 300))
    dark[100:120, 100:200] = 0.4
    gray = np.round(light * dark).astype(np.uint8)
    ink = FlatPage(gray, np.round(light).astype(np.uint8), None, 5.0).ink(0.9)
    assert ink.dtype == np.float32
    assert np.abs(ink[106:114, 110:190] - 0.6).max() < 0.02
    assert ink[:80].max() < 0.02


def test_ink_of_a_part_is_that_of_the_whole_and_none_beyond() -> None:
    gray = np.random.default_rng(4).integers(60, 220, (200, 150)).astype(np.uint8)
    flat = FlatPage(gray, np.full_like(gray, 220), None, 5.0)
    whole, part = flat.ink(0.9), flat.ink(0.9, np.array([[10.0, 8.0], [50.0, 24.0]]))
    assert np.array_equal(part[42:118, 52:150], whole[42:118, 52:150])
    part[40:120, 50:] = 0.0
    assert not part.any()


def test_beyond_the_picture_there_is_no_ink() -> None:
    gray, inside = np.zeros((50, 50), np.uint8), np.zeros((50, 50), bool)
    inside[:, 25:] = True
    ink = FlatPage(gray, np.full((50, 50), 200, np.uint8), inside, 5.0).ink(0.9)
    assert ink[:, :25].max() == 0.0
    assert ink[:, 25:].min() == 1.0
