"""A procedural hand: draws digits by pen strokes, in the forms that the world's schools teach.

Each ``Hand`` picks one form for each digit (1 plain, with upstroke or foot; open or closed 4;
crossed 7; slashed 0; flat or round 3; 2 with a loop, …) and keeps its slant, width and habits;
each digit then varies a little. The forms are in ``hand_shapes.json``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from sheet_reader.simulate.pens import Pen, random_pen, render_strokes

Stroke = NDArray[np.float64]
_Segments = tuple[tuple[Stroke, ...], ...]


@dataclass(frozen=True, slots=True)
class Hand:
    """One writer.

    ``forms`` names the writer's form of 0–9; ``slant`` is the shear dx/dy (positive leans right);
    ``width`` stretches x; ``height`` is a digit's height as a share of the unit box and
    ``spread`` how far (one standard deviation, same unit) it strays from the middle; ``habit``
    seeds the lasting distortion of this writer's forms, of size ``oddity``; ``wobble`` is the
    size of what changes from digit to digit; ``rounding`` 0..1 how much corners are smoothed;
    ``tremor`` the shake of the line; ``pen`` the pen in use.
    """

    forms: tuple[str, ...]
    slant: float
    width: float
    height: float
    spread: float
    habit: int
    oddity: float
    wobble: float
    rounding: float
    tremor: float
    pen: Pen


def forms_of(digit: int) -> tuple[str, ...]:
    """The names of the forms known for ``digit`` (0..9). Raises ValueError for others."""
    if not 0 <= digit <= 9:
        raise ValueError(f"a digit is 0 to 9, got {digit}")
    return tuple(_shapes()["digits"][str(digit)])


def sign_names() -> tuple[str, ...]:
    """The names of what the hand can draw besides digits: letters, dash, tick, question mark, …"""
    return tuple(_shapes()["signs"])


def random_hand(rng: np.random.Generator) -> Hand:
    """A writer drawn at random; the same generator state gives the same writer."""
    forms = tuple(str(rng.choice(forms_of(digit))) for digit in range(10))
    return Hand(
        forms=forms,
        slant=float(np.clip(rng.normal(0.08, 0.18), -0.35, 0.6)),
        width=float(np.exp(rng.normal(0.0, 0.18))),
        height=float(rng.uniform(0.55, 0.92)),
        spread=float(rng.uniform(0.01, 0.05)),
        habit=int(rng.integers(2**31)),
        oddity=float(rng.uniform(0.0, 0.055)),
        wobble=float(rng.uniform(0.008, 0.035)),
        rounding=float(rng.uniform(0.0, 1.0)),
        tremor=float(max(0.0, rng.normal(0.0, 0.004))),
        pen=random_pen(rng),
    )


def school_hand(rng: np.random.Generator) -> Hand:
    """A writer who follows the sheet's model digits: open 4, plain 1 and 7, 0 without a slash."""
    wanted = ("oval", "plain", "flat base", "round", "open", "hat", "curled", "plain", "figure")
    hand = random_hand(rng)
    return replace(hand, forms=(*wanted, "straight"))


def digit_strokes(digit: int, hand: Hand, rng: np.random.Generator) -> list[Stroke]:
    """The strokes of one digit as (n, 2) arrays, x and y in the unit box (x right, y down).

    Points may leave 0..1 a little where the writer does. Raises ValueError unless 0 <= digit <= 9.
    """
    if not 0 <= digit <= 9:
        raise ValueError(f"a digit is 0 to 9, got {digit}")
    return _write(_segments("digits", str(digit), hand.forms[digit]), digit, hand, rng)


def sign_strokes(name: str, hand: Hand, rng: np.random.Generator) -> list[Stroke]:
    """The strokes of a letter or sign of ``sign_names()``, as in ``digit_strokes``."""
    if name not in _shapes()["signs"]:
        raise ValueError(f"no sign is called {name!r}")
    return _write(_segments("signs", name, ""), 100 + sign_names().index(name), hand, rng)


def draw_digit(digit: int, hand: Hand, rng: np.random.Generator, px: int) -> NDArray[np.float32]:
    """One digit as float32 (px, px) ink, 0 bare paper, 1 full black, by the hand's own pen."""
    return render_strokes(digit_strokes(digit, hand, rng), px, hand.pen, rng)


@cache
def _shapes() -> dict[str, dict[str, dict[str, list[str]]]]:
    text = resources.files("sheet_reader.simulate").joinpath("hand_shapes.json").read_text("utf-8")
    shapes: dict[str, dict[str, dict[str, list[str]]]] = json.loads(text)
    return shapes


@cache
def _segments(group: str, key: str, form: str) -> _Segments:
    """Strokes as runs of control points; the pen turns a corner from one run to the next."""
    entry = _shapes()[group][key]
    strokes = entry[form] if form else list(entry)
    return tuple(
        tuple(
            np.array([[float(v) for v in pair.split(",")] for pair in run.split()]) / 100.0
            for run in stroke.split("|")
        )
        for stroke in strokes
    )


def _write(segments: _Segments, key: int, hand: Hand, rng: np.random.Generator) -> list[Stroke]:
    habit = np.random.default_rng([hand.habit, key])
    strokes = []
    for runs in segments:
        moved = _move(runs, hand, habit, rng)
        line = np.vstack([_spline(run) for run in moved])
        strokes.append(_round_corners(line, hand.rounding))
    strokes = _bend(strokes, hand, habit, rng)
    return _place(strokes, hand, rng)


def _move(
    runs: tuple[Stroke, ...], hand: Hand, habit: np.random.Generator, rng: np.random.Generator
) -> list[Stroke]:
    """The control points shifted by the writer's habit and by chance; runs stay joined."""
    moved: list[Stroke] = []
    for run in runs:
        shift = habit.normal(0.0, max(hand.oddity, 1e-9), run.shape)
        shift += rng.normal(0.0, hand.wobble, run.shape)
        moved.append(run + shift)
        joined = len(moved) > 1 and np.allclose(runs[len(moved) - 2][-1], run[0])
        if joined:
            moved[-1][0] = moved[-2][-1]
    return moved


def _spline(points: Stroke, per_span: int = 8) -> Stroke:
    """Centripetal-like Catmull-Rom curve through the points; (n, 2) to (m, 2)."""
    if len(points) < 3:
        return np.linspace(points[0], points[-1], per_span + 1)
    first, last = 2 * points[0] - points[1], 2 * points[-1] - points[-2]
    p = np.vstack([first, points, last])
    t = np.linspace(0.0, 1.0, per_span, endpoint=False)[:, None]
    spans = []
    for a, b, c, d in zip(p[:-3], p[1:-2], p[2:-1], p[3:], strict=True):
        linear, square, cube = c - a, 2 * a - 5 * b + 4 * c - d, 3 * (b - c) + d - a
        spans.append(0.5 * (2 * b + linear * t + square * t**2 + cube * t**3))
    return np.vstack([*spans, points[-1:]])


def _round_corners(line: Stroke, amount: float) -> Stroke:
    """Smooths a stroke along its length, its ends kept; ``amount`` 0 leaves it as it is."""
    passes = round(6 * amount)
    out = line.copy()
    for _ in range(passes):
        out[1:-1] = 0.25 * out[:-2] + 0.5 * out[1:-1] + 0.25 * out[2:]
    return out


def _bend(
    strokes: list[Stroke], hand: Hand, habit: np.random.Generator, rng: np.random.Generator
) -> list[Stroke]:
    """A slow distortion of the whole sign, and the line's tremor."""
    waves = []
    for generator, size in ((habit, 0.6 * hand.oddity), (rng, 0.8 * hand.wobble)):
        waves.append((generator.normal(0.0, size, (2, 2)), generator.uniform(0, 6.3, (2, 2))))
    out = []
    for stroke in strokes:
        bent = stroke.copy()
        for amplitude, phase in waves:
            for axis in (0, 1):
                across = stroke[:, 1 - axis]
                bent[:, axis] += amplitude[axis, 0] * np.sin(3.1 * across + phase[axis, 0])
                bent[:, axis] += amplitude[axis, 1] * np.sin(6.3 * across + phase[axis, 1])
        out.append(bent + rng.normal(0.0, hand.tremor, bent.shape))
    return out


def _place(strokes: list[Stroke], hand: Hand, rng: np.random.Generator) -> list[Stroke]:
    """Slant, width, height and place in the unit box."""
    height = hand.height * float(np.exp(rng.normal(0.0, 1.2 * hand.wobble)))
    slant = hand.slant + float(rng.normal(0.0, 1.5 * hand.wobble))
    width = hand.width * float(np.exp(rng.normal(0.0, 2.0 * hand.wobble)))
    matrix = np.array([[width, -slant], [0.0, 1.0]]) * height
    turned = [stroke @ matrix.T for stroke in strokes]
    points = np.vstack(turned)
    low, high = points.min(axis=0), points.max(axis=0)
    shrink = min(1.0, 0.98 / max(float(np.max(high - low)), 1e-6))
    centre = 0.5 + rng.normal(0.0, hand.spread, 2)
    return [(stroke - (low + high) / 2) * shrink + centre for stroke in turned]
