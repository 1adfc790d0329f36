"""The smooth surface of the paper against displacements of known shape."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sheet_reader.vision.surface import (
    ControlGrid,
    Correspondences,
    FittedSurface,
    apply_homography,
    fit_surface,
    join,
)

A4 = ControlGrid(210.0, 297.0)
TILTED = np.array([[8.0, 0.4, 150.0], [-0.3, 8.2, 90.0], [2e-4, 3e-4, 1.0]])


def curled(points: np.ndarray, amplitude: float = 4.0) -> np.ndarray:
    wave = amplitude * np.sin(points[:, 1] / 297 * np.pi) * np.cos(points[:, 0] / 300)
    return points + np.stack([0.3 * wave, wave], axis=1)


def seen_at(points: np.ndarray, amplitude: float = 4.0, sd: float = 0.05) -> Correspondences:
    return Correspondences(
        points, apply_homography(TILTED, curled(points, amplitude)), np.full(len(points), sd)
    )


def grid(nx: int, ny: int) -> np.ndarray:
    xs, ys = np.meshgrid(np.linspace(8, 202, nx), np.linspace(8, 289, ny))
    return np.stack([xs.ravel(), ys.ravel()], axis=1)


def misses(surface: FittedSurface, points: np.ndarray, amplitude: float = 4.0) -> np.ndarray:
    return np.linalg.norm(surface.flat(points) - curled(points, amplitude), axis=1)


@settings(max_examples=15, deadline=None)
@given(amplitude=st.floats(-9, 9))
def test_a_curl_is_followed_between_sightings(amplitude: float) -> None:
    surface = fit_surface(A4, TILTED, seen_at(grid(7, 10), amplitude))
    assert misses(surface, grid(20, 28), amplitude).max() < 0.1


def test_strayed_sightings_do_not_pull_the_surface() -> None:
    good = seen_at(grid(7, 10))
    stray = Correspondences(good.page_mm[::9], good.picture_px[::9] + 70.0, good.sd_mm[::9])
    surface = fit_surface(A4, TILTED, join(good, stray), rounds=6)
    assert misses(surface, grid(20, 28)).max() < 0.3


def test_the_error_estimate_grows_away_from_sightings_and_covers_the_truth() -> None:
    corner = grid(9, 12)
    corner = corner[(corner[:, 0] < 90) & (corner[:, 1] < 120)]
    surface = fit_surface(A4, TILTED, seen_at(corner))
    near, far = np.array([[40.0, 50.0]]), np.array([[200.0, 280.0]])
    assert surface.sd_mm(near)[0] < 0.1
    assert surface.sd_mm(far)[0] > 3.0
    assert misses(surface, far)[0] < 3.0 * surface.sd_mm(far)[0]


def test_scale_and_direction_of_the_page_in_the_picture() -> None:
    upright = np.array([[5.0, 0, 10], [0, 5.0, 20], [0, 0, 1.0]])
    points = grid(4, 4)
    surface = fit_surface(
        A4, upright, Correspondences(points, points * 5 + (10, 20), np.full(len(points), 0.1))
    )
    assert np.allclose(surface.px_per_mm(points), 5.0, atol=1e-3)
    assert np.allclose(surface.jacobian(points)[:, :, 0], (5.0, 0.0), atol=1e-2)


def test_no_points_have_no_rows() -> None:
    nx, ny = A4.counts
    assert A4.design(np.empty((0, 2))).shape == (0, nx * ny)
