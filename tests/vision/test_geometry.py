"""Homographies and splines against OpenCV and SciPy, and what a box's place is believed on."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import BSpline

from sheet_reader.vision.locate import _box_search, _error, _near, _tile_search
from sheet_reader.vision.surface import (
    ControlGrid,
    Correspondences,
    FittedSurface,
    _bspline,
    apply_homography,
    fit_surface,
)

TILTED = np.array([[8.0, 0.4, 150.0], [-0.3, 8.2, 90.0], [2e-4, 3e-4, 1.0]])
A4 = ControlGrid(210.0, 297.0)


def points(count: int, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).uniform((0, 0), (210, 297), (count, 2))


def test_a_homography_moves_points_as_opencv_does() -> None:
    page = points(50)
    expected = cv2.perspectiveTransform(page.reshape(-1, 1, 2), TILTED).reshape(-1, 2)
    assert np.allclose(apply_homography(TILTED, page), expected)


def test_the_inverse_homography_leads_back() -> None:
    page = points(50)
    there = apply_homography(TILTED, page)
    assert np.allclose(apply_homography(np.linalg.inv(TILTED), there), page)


@pytest.mark.parametrize("order", [0, 1, 2])
def test_the_basis_is_scipys_uniform_cubic_b_spline(order: int) -> None:
    """Spline k is 1 at most around place k - 1, and 0 from two knots away on."""
    count, places = 9, np.linspace(0.0, 5.999, 61)
    knots = np.arange(-3.0, count + 1.0)
    expected = np.stack(
        [BSpline(knots, np.eye(count)[k], 3).derivative(order)(places) if order else
         BSpline(knots, np.eye(count)[k], 3)(places) for k in range(count)], axis=1
    )  # fmt: skip
    assert np.allclose(_bspline(places, count, order), expected, atol=1e-12)


@given(x=st.floats(0, 210), y=st.floats(0, 297))
def test_the_basis_adds_up_to_one_everywhere(x: float, y: float) -> None:
    row = A4.design(np.array([[x, y]]))
    assert row.min() >= 0.0
    assert row.sum() == pytest.approx(1.0)


@pytest.mark.parametrize("order", [(1, 0), (0, 1), (2, 0), (0, 2), (1, 1)])
def test_a_flat_displacement_has_no_slope_and_a_slanted_no_curvature(
    order: tuple[int, int],
) -> None:
    nx, ny = A4.counts
    even = np.ones(nx * ny)
    assert np.allclose(A4.design(points(30), order) @ even, 0.0, atol=1e-12)
    slanted = np.tile(np.arange(nx) * 1.0, ny)
    curvature = A4.design(points(30), order) @ slanted
    assert np.allclose(curvature, 1.0 if order == (1, 0) else 0.0, atol=1e-9)


def test_the_prior_weighs_curvature_and_hardly_anything_else() -> None:
    nx, ny = A4.counts
    prior = A4.prior(1e-3)
    assert np.allclose(prior, prior.T)
    assert np.linalg.eigvalsh(prior).min() > 0
    slanted = np.tile(np.arange(nx) * 1.0, ny)
    curved = np.tile(np.arange(nx) ** 2.0, ny)
    assert slanted @ prior @ slanted < 1e-3 * (curved @ prior @ curved)


def test_a_plane_is_found_as_a_plane_and_its_covariance_is_one() -> None:
    page = points(40)
    seen = Correspondences(page, apply_homography(TILTED, page), np.full(40, 0.1))
    surface = fit_surface(A4, TILTED, seen)
    assert np.abs(surface.coefficients).max() < 1e-6
    assert np.linalg.eigvalsh(precision(surface)).min() > 0


def precision(surface: FittedSurface) -> np.ndarray:
    """The inverse of the covariance, by its root."""
    upper = np.triu(surface.root)
    return upper.T @ upper


def test_the_precision_is_the_normal_matrix_and_doubt_its_inverse() -> None:
    """At correspondences without any residual all weights are 1 / variance."""
    page = points(40)
    seen = Correspondences(page, apply_homography(TILTED, page), np.full(40, 0.1))
    basis = A4.design(page)
    normal = A4.prior(1e-3) + basis.T @ basis / 0.1**2
    found = fit_surface(A4, TILTED, seen, 1e-3)
    assert np.allclose(precision(found), normal, rtol=1e-4, atol=1e-8)
    covariance = np.linalg.inv(normal)
    variance = np.einsum("ij,jk,ik->i", basis, covariance, basis)
    assert np.allclose(found.sd_mm(page), np.sqrt(variance), rtol=1e-4)


def test_more_correspondences_leave_less_doubt() -> None:
    few, many = points(8), np.concatenate([points(8), points(80, 4)])
    doubts = [
        fit_surface(
            A4, TILTED, Correspondences(p, apply_homography(TILTED, p), np.full(len(p), 0.1))
        )
        .sd_mm(points(30, 9))
        .max()
        for p in (few, many)
    ]
    assert doubts[1] < 0.5 * doubts[0]


@given(st.lists(st.floats(0, 20), min_size=2, max_size=9))
def test_the_search_grows_with_doubt_within_its_bounds(doubts: list[float]) -> None:
    ordered = np.sort(np.array(doubts))
    for search, low, high in ((_tile_search, 0.9, 6.0), (_box_search, 0.6, 1.6)):
        radius = search(ordered)
        assert (np.diff(radius) >= 0).all()
        assert radius.min() >= low
        assert radius.max() <= high


@given(score=st.floats(0, 1), off=st.floats(0, 2))
def test_a_worse_match_and_a_longer_way_are_more_error(score: float, off: float) -> None:
    error = _error(np.array([score]), np.array([off]))[0]
    assert error >= 0.035
    assert _error(np.array([max(score - 0.1, 0)]), np.array([off]))[0] >= error
    assert _error(np.array([score]), np.array([off + 0.1]))[0] > error


@pytest.mark.parametrize(
    ("score", "off", "sd", "believed"),
    [
        (0.5, 0.2, 0.0, True),
        (0.5, 0.3, 0.0, False),
        (0.5, 0.3, 0.1, True),
        (0.4, 0.0, 9.0, False),
        (0.7, 1.4, 0.0, True),
        (0.9, 1.6, 0.0, False),
    ],
)
def test_when_a_frame_is_believed(score: float, off: float, sd: float, believed: bool) -> None:
    near = _near(np.array([score]), np.array([off]), np.array([sd]))
    assert near.tolist() == [believed]
