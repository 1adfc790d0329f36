"""From a point of the paper to its pixel and back, through bends, pose, perspective and lens."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.camera import Camera
from sheet_reader.simulate.surface import Surface

Floats = NDArray[np.float64]
_ROUNDS = SIMULATE.mapping_rounds
_ENOUGH_MM = SIMULATE.mapping_enough_mm
OUTSIDE = -1e4
"""Paper coordinate of a pixel that does not see the sheet's surroundings at all."""


@dataclass(frozen=True, slots=True)
class Placement:
    """How the sheet lies on the desk: turned by ``angle_rad``, its middle at ``x_mm``, ``y_mm``."""

    angle_rad: float = 0.0
    x_mm: float = 0.0
    y_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class SheetMap:
    """One sheet under one camera."""

    surface: Surface
    placement: Placement
    camera: Camera

    def to_px(self, points_mm: Floats) -> Floats:
        """Paper points (N, 2) in mm to picture px (N, 2)."""
        return self.camera.project(on_desk(self.surface, self.placement, points_mm))

    def to_mm(self, pixels: Floats) -> Floats:
        """Picture px (N, 2) to paper mm (N, 2); ``OUTSIDE`` above the horizon and where the search
        does not settle. More than 30 mm beside the paper the values are only rough.

        Fixed point: cross the ray with the plane at the height last found, take the bend's shift
        off, look up the height there. It contracts while slope × tan(angle of view) < 1.
        """
        centre, rays = self.camera.rays(pixels)
        turn = _turn(self.placement.angle_rad)
        flat = np.column_stack([rays[:, :2] @ turn, rays[:, 2]])
        middle = np.array([self.placement.x_mm, self.placement.y_mm])
        start = np.append((centre[:2] - middle) @ turn, centre[2])
        half = np.array([self.surface.width_mm, self.surface.height_mm]) / 2
        down = flat[:, 2] < -1e-3
        slant = np.where(down, flat[:, 2], -1.0)
        shift, height = np.zeros((len(pixels), 2)), np.zeros(len(pixels))
        points = np.full((len(pixels), 2), OUTSIDE)
        change = np.full(len(pixels), np.inf)
        near = down
        for _ in range(_ROUNDS):
            length = (height - start[2]) / slant
            moved = start[:2] + flat[:, :2] * length[:, None] + half - shift
            change = np.abs(moved - points).max(axis=1)
            points = moved
            near = down & np.all(np.abs(points - half) < half + 30, axis=1)
            if not np.any(change[near] > _ENOUGH_MM):
                break
            shift, height = self.surface.lift(points)
        points[~down | (near & (change > 0.05))] = OUTSIDE
        return points


def on_desk(surface: Surface, placement: Placement, points_mm: Floats) -> Floats:
    """Paper points (N, 2) in mm to desk coordinates (N, 3), mm."""
    shift, height = surface.lift(points_mm)
    flat = points_mm + shift - np.array([surface.width_mm, surface.height_mm]) / 2
    flat = flat @ _turn(placement.angle_rad).T + np.array([placement.x_mm, placement.y_mm])
    return np.column_stack([flat, height])


def _turn(angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])


@dataclass(frozen=True, slots=True)
class CoarseGrid:
    """Pixel places every ``step`` px with a border of one step around the picture."""

    width: int
    height: int
    step: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the grid."""
        return -(-self.height // self.step) + 2, -(-self.width // self.step) + 2

    def pixels(self) -> Floats:
        """The grid's places (rows × columns, 2), in px, row by row."""
        rows, columns = self.shape
        x = (np.arange(columns) - 0.5) * self.step - 0.5
        y = (np.arange(rows) - 0.5) * self.step - 0.5
        across, down = np.meshgrid(x, y)
        return np.column_stack([across.ravel(), down.ravel()])

    def spread(self, values: NDArray[np.float32]) -> NDArray[np.float32]:
        """Values at the grid's places (rows, columns[, C]) to every pixel (height, width[, C])."""
        rows, columns = self.shape
        full = cv2.resize(
            values, (columns * self.step, rows * self.step), interpolation=cv2.INTER_LINEAR
        )
        inner = full[self.step : self.step + self.height, self.step : self.step + self.width]
        return np.asarray(inner, np.float32)
