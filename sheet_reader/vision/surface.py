"""The paper as a smooth surface: from millimetres on the printed page to pixels of the picture.

A plane homography carries most of it; a displacement in the plane of the page, a cubic B-spline
with a bending penalty, carries curl, folds and lens. The fit is Bayesian linear regression: the
penalty is the prior, the inverse of the normal matrix the covariance, so every place on the page
has an estimate of the error that remains there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from scipy.linalg.lapack import dpotrf, dpotrs, dtrtrs

from sheet_reader.numbers import VISION
from sheet_reader.vision.arrays import Array, as_array


def apply_homography(matrix: Array, points: Array) -> Array:
    """Points (N, 2) through a 3 × 3 homography."""
    lifted = points @ matrix[:, :2].T + matrix[:, 2]
    return as_array(lifted[:, :2] / lifted[:, 2:])


_PIECES: tuple[Callable[[Array], tuple[Array, ...]], ...] = (
    lambda u: ((1 - u) ** 3 / 6, (3 * u**3 - 6 * u**2 + 4) / 6,
               (-3 * u**3 + 3 * u**2 + 3 * u + 1) / 6, u**3 / 6),
    lambda u: (-((1 - u) ** 2) / 2, (3 * u**2 - 4 * u) / 2, (-3 * u**2 + 2 * u + 1) / 2, u**2 / 2),
    lambda u: (1 - u, 3 * u - 2, -3 * u + 1, u),
)  # fmt: skip
"""Of the cubic B-spline and its derivatives: the four pieces over a cell, 0 <= u < 1."""


def _bspline(t: Array, count: int, order: int = 0) -> Array:
    """Uniform cubic B-spline basis (N, count) at ``t`` in knot units, or its ``order``-th
    derivative (0 to 2); linear beyond the ends is left to the clamp of the caller.
    """
    cell = np.clip(np.floor(t).astype(int), 0, count - 4)
    basis, rows = np.zeros((len(t), count)), np.arange(len(t))
    for k, piece in enumerate(_PIECES[order](t - cell)):
        basis[rows, cell + k] = piece
    return basis


@dataclass(frozen=True, slots=True)
class ControlGrid:
    """The spline's knots over a page of ``width_mm`` × ``height_mm``."""

    width_mm: float
    height_mm: float
    step_mm: float = field(default_factory=lambda: VISION.surface.knot_mm)

    @property
    def counts(self) -> tuple[int, int]:
        """Number of coefficients along x and along y."""
        nx, ny = (int(np.ceil(mm / self.step_mm)) + 3 for mm in (self.width_mm, self.height_mm))
        return nx, ny

    def axes(self, points: Array, order: tuple[int, int] = (0, 0)) -> tuple[Array, Array]:
        """Basis along x and along y for points (N, 2) in mm, each (N, count)."""
        nx, ny = self.counts
        inside = np.clip(points, 0.0, (self.width_mm, self.height_mm))
        return (
            _bspline(inside[:, 0] / self.step_mm, nx, order[0]),
            _bspline(inside[:, 1] / self.step_mm, ny, order[1]),
        )

    def design(self, points: Array, order: tuple[int, int] = (0, 0)) -> Array:
        """Basis (N, nx · ny) for points (N, 2) in mm, x fastest."""
        bx, by = self.axes(points, order)
        return (by[:, :, None] * bx[:, None, :]).reshape(len(points), bx.shape[1] * by.shape[1])

    @lru_cache(maxsize=16)  # noqa: B019 - a grid is a small frozen value
    def prior(self, curvature: float) -> Array:
        """Precision of the coefficients: bending with standard deviation ``curvature`` (1/mm),
        and a very weak hold on the whole so that the matrix can be inverted.
        """
        nx, ny = self.counts
        axes = np.linspace(0, self.width_mm, 2 * nx), np.linspace(0, self.height_mm, 2 * ny)
        grid = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
        weight = 1.0 / (curvature * self.step_mm**2) ** 2 / 4.0
        precision: Array = np.eye(nx * ny) / (VISION.surface.affine_sd_mm**2 * nx * ny / 16.0)
        for order, factor in (((2, 0), 1.0), ((0, 2), 1.0), ((1, 1), 2.0)):
            curve = self.design(grid, order)
            precision += factor * weight * curve.T @ curve
        return precision


@dataclass(frozen=True, slots=True)
class FittedSurface:
    """Page millimetres to picture pixels: ``homography`` after the displacement of ``control_grid``
    by ``coefficients`` (nx · ny, 2); ``root`` (nx · ny, nx · ny) the upper Cholesky factor of the
    precision of either component, 1/mm².
    """

    control_grid: ControlGrid
    homography: Array
    coefficients: Array
    root: Array

    def flat(self, points: Array) -> Array:
        """Points (N, 2) in mm moved by the displacement, still in mm."""
        return as_array(points + self.control_grid.design(points) @ self.coefficients)

    def to_px(self, points: Array) -> Array:
        """Points (N, 2) in mm to picture pixels (N, 2), x and y."""
        return apply_homography(self.homography, self.flat(points))

    def sd_mm(self, points: Array) -> Array:
        """Standard deviation (N,) of the place of points (N, 2) along one axis, in mm."""
        basis = self.control_grid.design(points)
        reduced, _ = dtrtrs(self.root, basis.T, trans=1)  # instead of the whole covariance
        return as_array(np.linalg.norm(reduced, axis=0))

    def jacobian(self, points: Array) -> Array:
        """Pixels per mm (N, 2, 2) at points (N, 2): [..., 0] along x, [..., 1] along y."""
        steps = np.array([[0.5, 0.0], [-0.5, 0.0], [0.0, 0.5], [0.0, -0.5]])
        around = self.to_px((points + steps[:, None]).reshape(-1, 2)).reshape(4, -1, 2)
        return as_array(np.stack([around[0] - around[1], around[2] - around[3]], axis=-1))

    def px_per_mm(self, points: Array) -> Array:
        """Mean scale (N,) at points (N, 2)."""
        return as_array(np.sqrt(np.abs(np.linalg.det(self.jacobian(points)))))


@dataclass(frozen=True, slots=True)
class Correspondences:
    """Places on the page seen in the picture: ``page_mm`` (N, 2), ``picture_px`` (N, 2) and the
    standard deviation ``sd_mm`` (N,) of each correspondence along one axis.
    """

    page_mm: Array
    picture_px: Array
    sd_mm: Array


def join(*parts: Correspondences) -> Correspondences:
    """All correspondences in one."""
    columns = zip(*((p.page_mm, p.picture_px, p.sd_mm) for p in parts), strict=True)
    return Correspondences(*map(np.concatenate, columns))


def fit_surface(
    control_grid: ControlGrid, homography: Array, seen: Correspondences,
    curvature: float | None = None, rounds: int = 3,
) -> FittedSurface:  # fmt: skip
    """The surface that agrees best with ``seen``, robust (Cauchy weights) to outliers.

    Needs ``homography`` (mm to px, 3 × 3) near the truth. Any number of correspondences will do:
    where there are none, the prior keeps the surface stiff and its ``sd_mm`` grows.
    """
    flat = apply_homography(as_array(np.linalg.inv(homography)), seen.picture_px)
    target = flat - seen.page_mm
    basis = control_grid.design(seen.page_mm)
    prior = control_grid.prior(curvature or VISION.surface.curvature_per_mm)
    base = 1.0 / seen.sd_mm**2
    weights = base.copy()
    for _ in range(max(rounds, 1)):
        scaled = basis * weights[:, None]
        root, _ = dpotrf(prior + scaled.T @ basis)
        coefficients, _ = dpotrs(root, scaled.T @ target)
        residual = np.linalg.norm(target - basis @ coefficients, axis=1)
        spread = max(1.0, float(np.median(residual / seen.sd_mm)) / 1.18)
        weights = base / spread**2 / (1.0 + (residual / (2.5 * spread * seen.sd_mm)) ** 2)
    return FittedSurface(control_grid, homography, as_array(coefficients), as_array(root))
