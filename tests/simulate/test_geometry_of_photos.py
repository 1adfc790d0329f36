"""Paper, camera and mapping: the truth that everything else is measured against."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from sheet_reader.simulate.camera import random_camera, rotation_matrix
from sheet_reader.simulate.levels import LEVELS, Level
from sheet_reader.simulate.mapping import CoarseGrid, Placement, SheetMap, on_desk
from sheet_reader.simulate.surface import Surface, curl, fold, random_surface

FLAT = replace(LEVELS["easy"], curl_mm=(0, 0), wave_mm=0.0, bump_mm=0.0, lens=0.0)


def paper_grid(width: float = 210, height: float = 297, steps: int = 25) -> np.ndarray:
    x, y = np.meshgrid(np.linspace(0, width, steps), np.linspace(0, height, steps))
    return np.column_stack([x.ravel(), y.ravel()])


def a_map(level: Level, seed: int) -> SheetMap:
    rng = np.random.default_rng(seed)
    surface = random_surface(level, 210, 297, rng)
    place = Placement(rng.uniform(0, 6), rng.uniform(-50, 50), rng.uniform(-50, 50))
    camera = random_camera(level, on_desk(surface, place, paper_grid()), rng)
    return SheetMap(surface, place, camera)


@pytest.mark.parametrize("level", ["easy", "typical", "hard"])
@pytest.mark.parametrize("seed", range(8))
def test_the_picture_drawn_and_the_truth_agree_within_a_third_of_a_pixel(
    level: str, seed: int
) -> None:
    sheet = a_map(LEVELS[level], seed)
    points = paper_grid()
    seen = sheet.to_px(points)
    size = np.array([sheet.camera.width, sheet.camera.height])
    inside = np.all((seen > 1) & (seen < size - 2), axis=1)
    assert inside.sum() > 100
    assert np.abs(sheet.to_mm(seen) - points).max() < 0.01
    grid = CoarseGrid(int(size[0]), int(size[1]), 16 if size.prod() > 6e6 else 8)
    coarse = sheet.to_mm(grid.pixels()).reshape(*grid.shape, 2)
    dense = grid.spread(coarse.astype(np.float32))
    where = seen[inside].astype(np.float32)
    drawn = cv2.remap(dense, where[:, :1], where[:, 1:], cv2.INTER_LINEAR)[:, 0].astype(float)
    back = sheet.to_px(drawn)
    assert np.linalg.norm(back - seen[inside], axis=1).max() < 0.3


@pytest.mark.parametrize("direction", [0.0, 0.7, np.pi / 2, 2.5])
def test_a_curl_keeps_lengths_on_the_paper_and_has_its_amplitude(direction: float) -> None:
    """A sheet that is bent, not stretched, keeps all distances along it (do Carmo 1976, 4-2)."""
    bent = Surface(210, 297, (curl(210, 297, 9.0, direction, 0.4),))
    unit = np.array([np.cos(direction), np.sin(direction)])
    line = np.array([105, 148.5]) + np.linspace(-100, 100, 2001)[:, None] * unit
    lifted = on_desk(bent, Placement(), line)
    length = np.linalg.norm(np.diff(lifted, axis=0), axis=1).sum()
    assert length == pytest.approx(200.0, abs=0.02)
    across = np.array([-unit[1], unit[0]])
    rule = on_desk(bent, Placement(), np.array([105, 148.5]) + np.array([[-90.0], [90]]) * across)
    assert np.linalg.norm(rule[1] - rule[0]) == pytest.approx(180.0, abs=1e-6)
    corners = on_desk(bent, Placement(), paper_grid())
    assert np.ptp(corners[:, 2]) == pytest.approx(9.0, abs=0.2)


def test_slopes_are_the_derivative_of_the_height() -> None:
    surface = Surface(210, 297, (curl(210, 297, 6.0, 0.5), fold(3.0, 0.08, 30.0, np.pi / 2)))
    points = paper_grid(steps=14) + 0.37
    step = 0.25
    for axis in (0, 1):
        ahead = points + step * np.eye(2)[axis]
        behind = points - step * np.eye(2)[axis]
        rise = (surface.lift(ahead)[1] - surface.lift(behind)[1]) / (2 * step)
        assert surface.slopes(points)[:, axis] == pytest.approx(rise, abs=0.02)


def test_a_camera_straight_above_sees_a_plain_scaled_picture() -> None:
    rng = np.random.default_rng(3)
    level = replace(FLAT, tilt_deg=(0, 0))
    surface = random_surface(level, 210, 297, rng)
    camera = random_camera(level, on_desk(surface, Placement(), paper_grid()), rng)
    seen = SheetMap(surface, Placement(), camera).to_px(paper_grid(steps=2))
    top, right = seen[1] - seen[0], seen[3] - seen[1]
    assert abs(top @ right) / np.linalg.norm(top) / np.linalg.norm(right) < 1e-6
    assert np.linalg.norm(right) / np.linalg.norm(top) == pytest.approx(297 / 210, rel=1e-6)


def test_tilt_is_the_angle_between_the_camera_and_the_desk() -> None:
    for tilt in (0.1, 0.4, 0.61):
        matrix = rotation_matrix(tilt, 1.1, 2.2)
        assert matrix @ matrix.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.arccos(matrix[2, 2]) == pytest.approx(tilt, abs=1e-9)


def homography_residual_mm(level: Level, seed: int) -> float:
    """What one plane fitted to 10 true places along the edge leaves, 95th percentile in mm."""
    sheet = a_map(level, seed)
    edge = np.array(
        [(14, 14), (105, 14), (196, 14), (14, 148), (196, 148), (14, 283), (105, 283), (196, 283)]
    )
    plane, _ = cv2.findHomography(edge.astype(np.float64), sheet.to_px(edge.astype(np.float64)))
    points = paper_grid()
    guess = cv2.perspectiveTransform(points[:, None], plane)[:, 0]
    true = sheet.to_px(points)
    scale = sheet.camera.focal_px / sheet.camera.place[2]
    return float(np.percentile(np.linalg.norm(guess - true, axis=1) / scale, 95))


def test_one_plane_fits_flat_paper_but_not_curled_paper() -> None:
    flat = [homography_residual_mm(FLAT, seed) for seed in range(10)]
    bent = {
        name: np.median([homography_residual_mm(level, seed) for seed in range(10)])
        for name, level in LEVELS.items()
    }
    assert max(flat) < 1e-3
    assert bent["typical"] > 0.3
    assert bent["hard"] > 1.0
    assert bent["easy"] < bent["typical"] < bent["hard"]
