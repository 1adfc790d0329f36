"""Paper that curls, waves and remembers its folds: where each point of it lies in space.

A sheet bent along one direction is a cylinder over a plane curve of given curvature: distances
along the paper are kept exactly (a developable surface; do Carmo, Differential Geometry of Curves
and Surfaces, 1976, 3-5 example 3). Several bends at once are added up; their mixed stretch is of
second order in the slopes and stays below half a per cent here.

Local coordinates: x right, y down from the paper's top left, mm; height towards the camera, mm.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.levels import Level

Floats = NDArray[np.float64]
_STEP_MM = SIMULATE.arc_step_mm
_REACH_MM = SIMULATE.arc_reach_mm
_BUMP_STEP_MM = SIMULATE.bump_step_mm
_CREASE_RADIUS_MM = SIMULATE.crease_radius_mm
_CREASE_RELAX_MM = SIMULATE.crease_relax_mm


@dataclass(frozen=True, slots=True)
class Bend:
    """One cylinder bend. ``direction`` is the unit vector across the cylinder's lines, ``start``
    the first arc length of the tables, spaced ``_STEP_MM``: ``shift`` the change of place along
    ``direction``, ``height`` and ``slope`` (rise over run) at each arc length.
    """

    direction: tuple[float, float]
    start: float
    shift: Floats
    height: Floats
    slope: Floats


@dataclass(frozen=True, slots=True)
class Crease:
    """A fold line on the paper, mm."""

    start: tuple[float, float]
    end: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Surface:
    """A sheet of ``width_mm`` × ``height_mm`` with its bends and creases; ``bumps`` are heights in
    mm on a lattice of ``_BUMP_STEP_MM`` that no cylinder explains (rows, columns).
    """

    width_mm: float
    height_mm: float
    bends: tuple[Bend, ...] = field(default=())
    creases: tuple[Crease, ...] = field(default=())
    bumps: Floats | None = None

    def lift(self, points: Floats) -> tuple[Floats, Floats]:
        """Shift (N, 2) and height (N,) in mm of paper points (N, 2), both relative to flat."""
        shift = np.zeros_like(points)
        height = np.zeros(len(points))
        for bend in self.bends:
            position = self._along(bend, points)
            along = _look_up(bend.shift, bend.start, position)
            shift[:, 0] += along * bend.direction[0]
            shift[:, 1] += along * bend.direction[1]
            height += _look_up(bend.height, bend.start, position)
        if self.bumps is not None:
            height += self._bump(points)
        return shift, height

    def slopes(self, points: Floats) -> Floats:
        """Rise over run towards x and y, (N, 2), at paper points (N, 2)."""
        total = np.zeros_like(points)
        for bend in self.bends:
            slope = _look_up(bend.slope, bend.start, self._along(bend, points))
            total[:, 0] += slope * bend.direction[0]
            total[:, 1] += slope * bend.direction[1]
        if self.bumps is not None:
            reach = _BUMP_STEP_MM / 2
            for axis in (0, 1):
                step = reach * np.eye(2)[axis]
                rise = self._bump(points + step) - self._bump(points - step)
                total[:, axis] += rise / (2 * reach)
        return total

    def _bump(self, points: Floats) -> Floats:
        """Height of the bumps at points (N, 2), by bilinear look-up."""
        assert self.bumps is not None
        rows, columns = self.bumps.shape
        place = np.clip(points / _BUMP_STEP_MM, 0, np.array([columns, rows]) - 1.001)
        whole = place.astype(np.intp)
        share = place - whole
        x, y = whole[:, 0], whole[:, 1]
        upper = self.bumps[y, x] * (1 - share[:, 0]) + self.bumps[y, x + 1] * share[:, 0]
        lower = self.bumps[y + 1, x] * (1 - share[:, 0]) + self.bumps[y + 1, x + 1] * share[:, 0]
        height: Floats = upper * (1 - share[:, 1]) + lower * share[:, 1]
        return height

    def _along(self, bend: Bend, points: Floats) -> Floats:
        x = points[:, 0] - self.width_mm / 2
        y = points[:, 1] - self.height_mm / 2
        along: Floats = x * bend.direction[0] + y * bend.direction[1]
        return along


def _look_up(table: Floats, start: float, position: Floats) -> Floats:
    index = np.clip((position - start) / _STEP_MM, 0, len(table) - 1.001)
    lower = index.astype(np.intp)
    share = index - lower
    value: Floats = table[lower] * (1 - share) + table[lower + 1] * share
    return value


def _bend(direction_rad: float, angle: Floats, start: float) -> Bend:
    """The bend whose tangent has ``angle`` (radians, at steps of arc length) to the horizontal."""
    along = np.concatenate([[0.0], np.cumsum((np.cos(angle[1:]) + np.cos(angle[:-1])) / 2)])
    rise = np.concatenate([[0.0], np.cumsum((np.sin(angle[1:]) + np.sin(angle[:-1])) / 2)])
    steps = np.arange(len(angle)) * 1.0
    middle = len(angle) // 2
    shift = (along - along[middle] - (steps - middle)) * _STEP_MM
    height = (rise - rise[middle]) * _STEP_MM
    unit = (float(np.cos(direction_rad)), float(np.sin(direction_rad)))
    return Bend(unit, start, shift, height, np.tan(angle))


def _arc_lengths() -> Floats:
    return np.arange(-_REACH_MM, _REACH_MM + _STEP_MM, _STEP_MM)


def curl(width_mm: float, height_mm: float, amplitude_mm: float, direction_rad: float,
         skew: float = 0.0) -> Bend:  # fmt: skip
    """A smooth curl whose height varies by ``amplitude_mm`` over the sheet; ``skew`` (-1..1)
    bends one side more than the other. Beyond the sheet the surface goes on straight.
    """
    arc = _arc_lengths()
    reach = (abs(np.cos(direction_rad)) * width_mm + abs(np.sin(direction_rad)) * height_mm) / 2
    unit = np.clip(arc / reach, -1, 1)
    shape = unit + skew * unit**2
    low, high = 0.0, 1.2
    bend = _bend(direction_rad, shape * 0.0, float(arc[0]))
    on_sheet = np.abs(arc) <= reach
    for _ in range(40):
        gain = (low + high) / 2
        bend = _bend(direction_rad, gain * np.sign(amplitude_mm) * shape, float(arc[0]))
        low, high = (
            (gain, high) if np.ptp(bend.height[on_sheet]) < abs(amplitude_mm) else (low, gain)
        )
    return bend


def wave(amplitude_mm: float, length_mm: float, phase: float, direction_rad: float) -> Bend:
    """Paper that got damp: a sine of this half height and wavelength."""
    arc = _arc_lengths()
    number = 2 * np.pi / length_mm
    return _bend(
        direction_rad,
        np.arctan(amplitude_mm * number * np.cos(number * arc + phase)),
        float(arc[0]),
    )


def fold(offset_mm: float, angle_rad: float, relax_mm: float, direction_rad: float) -> Bend:
    """A crease ``offset_mm`` from the middle: the paper leaves it at ``angle_rad`` on both sides
    and lies down again over ``relax_mm``.
    """
    arc = _arc_lengths() - offset_mm
    angle = angle_rad * np.tanh(arc / _CREASE_RADIUS_MM) * np.exp(-np.abs(arc) / relax_mm)
    return _bend(direction_rad, angle, -_REACH_MM)


def random_surface(
    level: Level, width_mm: float, height_mm: float, rng: np.random.Generator
) -> Surface:
    """A sheet as a volunteer's sheet may lie: curl, damp waves, perhaps folded in two or four."""
    sign = rng.choice([-1.0, 1.0])
    bends = [
        curl(width_mm, height_mm, sign * rng.uniform(*level.curl_mm), rng.uniform(0, np.pi),
             rng.uniform(-0.6, 0.6)),
        wave(rng.uniform(0, level.wave_mm), rng.uniform(60, 160), rng.uniform(0, 2 * np.pi),
             rng.uniform(0, np.pi)),
    ]  # fmt: skip
    creases: list[Crease] = []
    if rng.random() < level.folded:
        both = rng.random() < 0.6
        for upright in (False, True):
            if upright and not both:
                continue
            offset = rng.normal(0, 1.5)
            angle = np.radians(rng.uniform(*level.fold_deg)) * rng.choice([-1, 1])
            relax = rng.uniform(*_CREASE_RELAX_MM)
            bends.append(fold(offset, angle, relax, 0.0 if upright else np.pi / 2))
            place = (width_mm if upright else height_mm) / 2 + offset
            creases.append(
                Crease((place, 0.0), (place, height_mm))
                if upright
                else Crease((0.0, place), (width_mm, place))
            )
    bumps = _bumps(width_mm, height_mm, level.bump_mm, rng)
    if len(creases) == 2:
        _raise_crossing(bumps, creases, rng)
    return Surface(width_mm, height_mm, tuple(bends), tuple(creases), bumps)


def _bumps(width_mm: float, height_mm: float, size_mm: float, rng: np.random.Generator) -> Floats:
    """Gentle cockles 25 to 60 mm wide with a standard deviation of up to ``size_mm``."""
    rows, columns = (int(side / _BUMP_STEP_MM) + 2 for side in (height_mm, width_mm))
    raw = rng.standard_normal((rows, columns))
    smooth = cv2.GaussianBlur(raw, (0, 0), rng.uniform(25, 60) / 4 / _BUMP_STEP_MM)
    return np.asarray(smooth / smooth.std() * rng.uniform(0, size_mm), np.float64)


def _raise_crossing(bumps: Floats, creases: list[Crease], rng: np.random.Generator) -> None:
    """Paper folded in four stands up a little where the folds cross, in place."""
    x, y = creases[1].start[0], creases[0].start[1]
    across = np.arange(bumps.shape[1]) * _BUMP_STEP_MM - x
    down = np.arange(bumps.shape[0]) * _BUMP_STEP_MM - y
    distance = np.hypot(across[None, :], down[:, None])
    bumps += rng.uniform(-0.8, 0.8) * np.exp(-distance / rng.uniform(6, 14))
