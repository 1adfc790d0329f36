"""A pinhole camera with radial lens distortion looking down at a desk.

Desk coordinates: x right, y down (as the paper's), height towards the camera, mm. The camera
looks along its own z axis; pixel centres are at whole numbers, x right, y down. Distortion:
r' = r (1 + k1 r² + k2 r⁴) in normalised coordinates (Brown's radial model, Photogrammetric
Engineering 37(8):855, 1971).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from sheet_reader.simulate.levels import Level

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Camera:
    """``rotation`` (3, 3) and ``place`` (3,) take desk to camera coordinates; ``focal_px``;
    ``width`` and ``height`` of the upright picture in px; ``k1``, ``k2`` of the lens.
    """

    rotation: Floats
    place: Floats
    focal_px: float
    width: int
    height: int
    k1: float = 0.0
    k2: float = 0.0

    def project(self, points: Floats) -> Floats:
        """Desk points (N, 3: x, y, height in mm) to picture px (N, 2)."""
        flipped = points * np.array([1.0, 1.0, -1.0])
        seen = flipped @ self.rotation.T + self.place
        flat = seen[:, :2] / seen[:, 2:3]
        square = np.sum(flat**2, axis=1, keepdims=True)
        bent = flat * (1 + self.k1 * square + self.k2 * square**2)
        return np.asarray(bent * self.focal_px + self._centre())

    def rays(self, pixels: Floats) -> tuple[Floats, Floats]:
        """Camera centre (3,) and directions (N, 3) in desk coordinates for px (N, 2)."""
        bent = (pixels - self._centre()) / self.focal_px
        flat = bent
        for _ in range(12):
            square = np.sum(flat**2, axis=1, keepdims=True)
            flat = bent / (1 + self.k1 * square + self.k2 * square**2)
        directions = np.column_stack([flat, np.ones(len(flat))]) @ self.rotation
        centre = -self.rotation.T @ self.place
        flip = np.array([1.0, 1.0, -1.0])
        return centre * flip, directions * flip

    def desk_to_px(self) -> Floats:
        """The homography (3, 3) of the flat desk without the lens, mm to px."""
        plane = np.column_stack([self.rotation[:, 0], self.rotation[:, 1], self.place])
        centre = self._centre()
        inner = np.array(
            [[self.focal_px, 0, centre[0]], [0, self.focal_px, centre[1]], [0, 0, 1.0]]
        )
        return np.asarray(inner @ plane)

    def _centre(self) -> Floats:
        return np.array([(self.width - 1) / 2, (self.height - 1) / 2])


def rotation_matrix(tilt_rad: float, axis_rad: float, turn_rad: float) -> Floats:
    """Tilt about an axis in the desk's plane, then turn about the camera's axis."""
    axis = np.array([np.cos(axis_rad), np.sin(axis_rad), 0.0])
    tilt = Rotation.from_rotvec(tilt_rad * axis)
    return np.asarray((Rotation.from_euler("z", turn_rad) * tilt).as_matrix())


def frame(
    outline: Floats, rotation: Floats, focal_px: float, size: tuple[int, int],
    lens: tuple[float, float], fill: float, shift: tuple[float, float],
) -> Camera:  # fmt: skip
    """The camera that sees the desk points ``outline`` (N, 3) fill the share ``fill`` of the
    picture's tighter side, their middle moved by ``shift`` (shares of width and height).
    """
    width, height = size
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2 * np.array([1, 1, 0])
    pixel = np.zeros(2)
    distance = 500.0
    for _ in range(25):
        ray = np.array([pixel[0] / focal_px, pixel[1] / focal_px, 1.0])
        place = ray * distance - rotation @ middle
        camera = Camera(rotation, place, focal_px, width, height, *lens)
        seen = camera.project(outline)
        low, high = seen.min(axis=0), seen.max(axis=0)
        need = float(np.max((high - low) / (np.array([width, height]) * fill)))
        distance *= need**0.9
        target = np.array([width * (0.5 + shift[0]), height * (0.5 + shift[1])])
        pixel = pixel + (target - (low + high) / 2)
    return camera


def random_size(level: Level, rng: np.random.Generator) -> tuple[int, int]:
    """Width and height in px of an upright 4 : 3 picture, portrait or landscape."""
    long = int(rng.choice(level.long_side_px))
    short = long * 3 // 4
    return (short, long) if rng.random() < 0.6 else (long, short)


def random_camera(
    level: Level, outline: Floats, rng: np.random.Generator, size: tuple[int, int] | None = None
) -> Camera:
    """A camera held as volunteers hold phones over the desk points ``outline`` (N, 3)."""
    width, height = size or random_size(level, rng)
    spread = np.ptp(outline[:, :2], axis=0)
    upright = (height > width) == (spread[1] > spread[0])
    if rng.random() < 0.07:
        upright = not upright
    quarter = (0 if upright else 1) + 2 * int(rng.random() < 0.35)
    turn = np.pi / 2 * quarter + np.radians(rng.normal(0, 4))
    if rng.random() < level.any_rotation:
        turn = rng.uniform(0, 2 * np.pi)
    tilt = np.radians(rng.uniform(*level.tilt_deg))
    rotation = rotation_matrix(tilt, rng.uniform(0, 2 * np.pi), turn)
    focal = max(width, height) * rng.uniform(0.70, 0.85)
    lens = (rng.uniform(-level.lens, level.lens), rng.uniform(-0.2, 0.2) * level.lens)
    fill = rng.uniform(*level.fill)
    shift = rng.uniform(-0.5, 0.5, 2) * (1 - fill) * 0.6
    if rng.random() < level.cropped:
        shift = rng.choice([-1.0, 1.0], 2) * ((1 - fill) / 2 + rng.uniform(0.03, 0.12, 2))
    return frame(outline, rotation, focal, (width, height), lens, fill, (shift[0], shift[1]))
