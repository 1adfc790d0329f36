"""The camera against OpenCV's, grids against plain algebra, and the shapes of folds and waves."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheet_reader.simulate.camera import Camera, frame, random_camera, random_size, rotation_matrix
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.mapping import CoarseGrid, Placement, on_desk
from sheet_reader.simulate.surface import Surface, fold, random_surface, wave
from sheet_reader.simulate.thumbs import random_thumbs
from sheet_reader.simulate.values import random_visit
from sheet_reader.simulate.wear import worn

angles = st.floats(-3.1, 3.1)


def camera(k1: float = 0.0, k2: float = 0.0, tilt: float = 0.4) -> Camera:
    outline = np.array([[-105.0, -148, 0], [105, -148, 0], [105, 148, 0], [-105, 148, 0]])
    rotation = rotation_matrix(tilt, 0.7, 0.3)
    return frame(outline, rotation, 2400.0, (3000, 4000), (k1, k2), 0.8, (0.0, 0.0))


@given(tilt=st.floats(0, 1.2), axis=angles, turn=angles)
def test_the_rotation_is_opencvs_tilt_and_then_a_turn(
    tilt: float, axis: float, turn: float
) -> None:
    tilted = cv2.Rodrigues(tilt * np.array([np.cos(axis), np.sin(axis), 0.0]))[0]
    turned = cv2.Rodrigues(turn * np.array([0.0, 0.0, 1.0]))[0]
    found = rotation_matrix(tilt, axis, turn)
    assert np.allclose(found, turned @ tilted, atol=1e-9)
    assert np.allclose(found @ found.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(found) == pytest.approx(1.0)


@pytest.mark.parametrize("lens", [(0.0, 0.0), (0.06, -0.01), (-0.05, 0.01)])
def test_points_are_projected_as_opencv_does(lens: tuple[float, float]) -> None:
    seen = camera(*lens)
    points = np.random.default_rng(1).uniform((-100, -140, 0), (100, 140, 9), (60, 3))
    inner = np.array([[seen.focal_px, 0, 1499.5], [0, seen.focal_px, 1999.5], [0, 0, 1.0]])
    expected, _ = cv2.projectPoints(
        points * (1.0, 1.0, -1.0), cv2.Rodrigues(seen.rotation)[0], seen.place, inner,
        np.array([*lens, 0.0, 0.0]),
    )  # fmt: skip
    assert np.allclose(seen.project(points), expected.reshape(-1, 2), atol=1e-6)


@settings(max_examples=30, deadline=None)
@given(x=st.floats(-100, 100), y=st.floats(-140, 140), height=st.floats(0, 9))
def test_the_ray_through_a_points_pixel_passes_the_point(x: float, y: float, height: float) -> None:
    seen, point = camera(0.05, -0.01), np.array([[x, y, height]])
    centre, rays = seen.rays(seen.project(point))
    away = point[0] - centre
    missed = np.linalg.norm(np.cross(away, rays[0])) / np.linalg.norm(rays[0])
    assert missed < 1e-3


def test_without_a_lens_the_desk_is_seen_by_a_homography() -> None:
    seen = camera()
    points = np.random.default_rng(2).uniform((-100, -140), (100, 140), (20, 2))
    lifted = np.column_stack([points, np.zeros(20)])
    through = cv2.perspectiveTransform(points.reshape(-1, 1, 2), seen.desk_to_px())
    assert np.allclose(through.reshape(-1, 2), seen.project(lifted), atol=1e-6)


@pytest.mark.parametrize("fill", [0.72, 0.85, 0.95])
def test_the_sheet_fills_the_share_asked_for_and_lies_in_the_middle(fill: float) -> None:
    outline = np.array([[-105.0, -148, 0], [105, -148, 0], [105, 148, 0], [-105, 148, 0]])
    seen = frame(
        outline, rotation_matrix(0.3, 1.0, 0.1), 2400.0, (3000, 4000), (0, 0), fill, (0, 0)
    )
    low, high = seen.project(outline).min(axis=0), seen.project(outline).max(axis=0)
    assert np.max((high - low) / (3000, 4000)) == pytest.approx(fill, abs=0.01)
    assert (low + high) / 2 == pytest.approx((1500, 2000), abs=20)


@pytest.mark.parametrize("name", LEVELS)
def test_a_level_gives_pictures_of_its_sizes_only(name: str) -> None:
    rng = np.random.default_rng(3)
    level = LEVELS[name]
    for _ in range(40):
        size = random_size(level, rng)
        assert max(size) in level.long_side_px
        assert min(size) == max(size) * 3 // 4


def test_an_easy_camera_is_hardly_tilted_and_a_hard_one_is() -> None:
    outline = np.array([[-105.0, -148, 0], [105, -148, 0], [105, 148, 0], [-105, 148, 0]])
    for name in ("easy", "hard"):
        low, high = LEVELS[name].tilt_deg
        for seed in range(15):
            seen = random_camera(LEVELS[name], outline, np.random.default_rng(seed))
            tilt = np.degrees(np.arccos(np.clip(seen.rotation[2, 2], -1, 1)))
            assert low - 1e-6 <= tilt <= high + 1e-6


@given(angle=angles, x=st.floats(-50, 50), y=st.floats(-50, 50))
def test_flat_paper_keeps_its_lengths_on_the_desk(angle: float, x: float, y: float) -> None:
    points = np.array([[0.0, 0], [210, 0], [210, 297], [0, 297]])
    laid = on_desk(Surface(210, 297), Placement(angle, x, y), points)
    sides = np.linalg.norm(laid - np.roll(laid, -1, axis=0), axis=1)
    assert sides == pytest.approx([210, 297, 210, 297])
    assert laid[:, 2].tolist() == [0.0] * 4
    assert laid.mean(axis=0) == pytest.approx((x, y, 0.0))


@pytest.mark.parametrize(("width", "height", "step"), [(64, 48, 16), (100, 75, 8), (33, 17, 16)])
def test_a_coarse_grid_spread_out_is_exact_for_a_slope(width: int, height: int, step: int) -> None:
    grid = CoarseGrid(width, height, step)
    pixels = grid.pixels()
    values = (0.5 * pixels[:, 0] - 0.25 * pixels[:, 1]).reshape(grid.shape).astype(np.float32)
    rows, columns = np.mgrid[:height, :width]
    spread = grid.spread(values)
    assert spread.shape == (height, width)
    assert np.abs(spread - (0.5 * columns - 0.25 * rows)).max() < 0.02


def test_a_wave_has_its_height_and_length() -> None:
    bend = wave(2.0, 100.0, 0.0, 0.0)
    middle = len(bend.height) // 2
    near = bend.height[middle - 200 : middle + 201]
    assert np.ptp(near) == pytest.approx(4.0, rel=0.05)
    assert np.corrcoef(near[:-200], near[200:])[0, 1] > 0.99, "100 mm on it begins again"


@pytest.mark.parametrize("degrees", [2.0, 8.0])
def test_a_fold_leaves_its_crease_at_its_angle_on_both_sides(degrees: float) -> None:
    bend = fold(0.0, np.radians(degrees), 30.0, 0.0)
    middle = len(bend.slope) // 2
    assert np.degrees(np.arctan(bend.slope[middle + 5])) == pytest.approx(degrees, rel=0.15)
    assert bend.slope[middle - 5] == pytest.approx(-bend.slope[middle + 5], rel=0.01)
    assert abs(bend.slope[-1]) < 1e-4, "it lies down again"


def test_a_sheet_of_any_level_keeps_its_lengths_within_half_a_per_cent() -> None:
    grid = np.stack(np.meshgrid(np.linspace(0, 210, 22), np.linspace(0, 297, 31)), axis=-1)
    for name, level in LEVELS.items():
        sheet = random_surface(level, 210, 297, np.random.default_rng(4))
        laid = on_desk(sheet, Placement(), grid.reshape(-1, 2)).reshape(31, 22, 3)
        for axis, step in ((0, 9.9), (1, 10.0)):
            long = np.linalg.norm(np.diff(laid, axis=axis), axis=-1)
            assert np.abs(long / step - 1).max() < 0.01, name


def test_thumbs_reach_in_from_an_edge() -> None:
    rng = np.random.default_rng(5)
    for thumb in random_thumbs(12, (210, 297), [(10, 10), (200, 287)], rng):
        inside = ((thumb > 0) & (thumb < (210, 297))).all(axis=1)
        assert inside.any(), "it covers something"
        assert not inside.all(), "the hand is outside the paper"


def test_visits_of_one_seed_are_alike(beans) -> None:  # type: ignore[no-untyped-def]
    study = beans.study
    one, other = (random_visit(study, np.random.default_rng(6)) for _ in range(2))
    assert one == other
    assert one != random_visit(study, np.random.default_rng(7))


def test_paper_without_crease_or_stain_is_passed_on_as_it_is() -> None:
    from dataclasses import replace

    from sheet_reader.simulate.printer import Paper

    clean = replace(LEVELS["easy"], stained=0.0)
    paper = Paper.__new__(Paper)
    assert worn(paper, Surface(210, 297), clean, np.random.default_rng(1)) is paper
