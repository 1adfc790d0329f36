"""What people put on a sheet besides digits: crosses, filled boxes, ticks, strays, tallies.

All functions return polylines (N, 2) in px within a canvas of the given height and width.
"""

from __future__ import annotations

import numpy as np

from sheet_reader.simulate.ink import Stroke

SIGNS = ("dash", "tick", "question", "cross", "wave")


def filled_box(height: int, width: int, pen_px: float, rng: np.random.Generator) -> list[Stroke]:
    """A box filled in: a dense zigzag over all of it, then once round."""
    return [
        _zigzag(height, width, pen_px * rng.uniform(0.75, 1.15), rng),
        _loop(height, width, rng),
    ]


def cross_out(height: int, width: int, rng: np.random.Generator) -> list[Stroke]:
    """A digit crossed out: two lines from corner to corner, as a hand draws them, now and then
    only one. The digit below stays legible.
    """
    strokes = []
    for line in (((0.0, 0.0), (1.0, 1.0)), ((1.0, 0.0), (0.0, 1.0))):
        (x0, y0), (x1, y1) = np.array(line) + rng.normal(0, 0.06, (2, 2))
        bend = rng.normal(0, 0.04, 2)
        t = np.linspace(0, 1, 8)[:, None]
        points = (1 - t) * np.array([x0, y0]) + t * np.array([x1, y1]) + 4 * t * (1 - t) * bend
        strokes.append(np.asarray(points * np.array([width - 1, height - 1])))
    return strokes[:1] if rng.random() < 0.08 else strokes


def scribble(height: int, width: int, pen_px: float, rng: np.random.Generator) -> list[Stroke]:
    """A looser strike-out: an open zigzag, crossing lines or a flat wave."""
    kind = int(rng.integers(3))
    if kind == 0:
        return [_zigzag(height, width, pen_px * rng.uniform(2.0, 4.0), rng)]
    if kind == 1:
        low, high = rng.uniform(0.05, 0.25, 2)
        lines = [((low, high), (1 - high, 1 - low)), ((low, 1 - high), (1 - low, high))]
        return [_scaled(line, height, width, rng) for line in lines]
    level = rng.uniform(0.4, 0.6)
    return [
        _scaled(((0.02, level + shift), (0.98, level - shift)), height, width, rng)
        for shift in rng.uniform(-0.12, 0.12, 2)
    ]


def sign(name: str, height: int, width: int, rng: np.random.Generator) -> list[Stroke]:
    """A sign of :data:`SIGNS` that is no digit."""
    t = np.linspace(0, 1, 14)
    if name == "dash":
        return [_scaled(((0.2, 0.5), (0.8, 0.47)), height, width, rng)]
    if name == "tick":
        return [_scaled(((0.15, 0.55), (0.38, 0.82), (0.9, 0.15)), height, width, rng)]
    if name == "cross":
        lines = [((0.2, 0.2), (0.8, 0.8)), ((0.8, 0.2), (0.2, 0.8))]
        return [_scaled(line, height, width, rng) for line in lines]
    if name == "wave":
        points = np.column_stack([0.15 + 0.7 * t, 0.5 + 0.09 * np.sin(2 * np.pi * t)])
        return [_scaled(points, height, width, rng)]
    hook = np.column_stack(
        [0.5 - 0.24 * np.cos(np.pi * 1.45 * t), 0.32 - 0.22 * np.sin(np.pi * 1.45 * t)]
    )
    stem = np.vstack([hook, [[0.5, 0.68]]])
    dot = _scaled(((0.5, 0.86), (0.5, 0.865)), height, width, rng)
    return [_scaled(stem, height, width, rng), dot]


def stray(height: int, width: int, rng: np.random.Generator) -> list[Stroke]:
    """A slip of the pen: a dot or a short line anywhere on the canvas."""
    place = rng.uniform(0.05, 0.95, 2)
    if rng.random() < 0.35:
        return [_scaled((place, place + 0.005), height, width, rng)]
    angle, length = rng.uniform(0, 2 * np.pi), rng.uniform(0.12, 0.35)
    end = place + length * np.array([np.cos(angle), np.sin(angle)])
    return [_scaled((place, (place + end) / 2 + rng.normal(0, 0.03, 2), end), height, width, rng)]


def tally(
    count: int, height: int, width: int, rng: np.random.Generator, line_px: float = 0.0
) -> list[Stroke]:
    """Tally strokes in fives, as many as the canvas has room for, in lines of ``line_px`` (0: one
    line as high as the canvas).
    """
    line = min(line_px or height, height)
    step = line * 0.28
    strokes: list[Stroke] = []
    x, y = step, 0.0
    for index in range(count):
        if x + step > width and index % 5 == 0:
            x, y = step, y + line
        if y + line > height + 1 or x + step > width:
            break
        top, bottom = y + line * rng.uniform(0.1, 0.2), y + line * rng.uniform(0.8, 0.9)
        if index % 5 == 4:
            start = np.array([x - 4.6 * step, bottom - 0.1 * line])
            strokes.append(np.array([start, [x - 0.5 * step, top + 0.1 * line]]))
            x += step * 0.8
            continue
        lean = rng.normal(0, 0.05) * line
        strokes.append(np.array([[x + lean, top], [x - lean, bottom]]))
        x += step
    return strokes


def tally_end(
    count: int, height: float, width: float, rng: np.random.Generator
) -> list[Stroke]:
    """The last ``count`` strokes of a tally row that reaches over the left edge (x = 0) of a box of
    this size; or the slanting fifth stroke that ends in it.
    """
    step = height * rng.uniform(0.18, 0.26)
    top, bottom = height * rng.uniform(0.05, 0.2), height * rng.uniform(0.75, 0.95)
    last = width * rng.uniform(0.05, 0.55)
    lean = rng.normal(0, 0.05) * height
    strokes = [
        np.array([[last - k * step + lean, top], [last - k * step - lean, bottom]])
        + rng.normal(0, 0.02 * height, (2, 2))
        for k in range(count)
    ]
    if rng.random() < 0.25:
        slant = np.array([[last - 4.6 * step, bottom], [last + 0.5 * step, top]])
        strokes = [s - np.array([last, 0.0]) for s in strokes] + [slant]
    return [np.asarray(s, np.float64) for s in strokes]


def scrawl(height: int, width: int, letter_px: float, rng: np.random.Generator) -> list[Stroke]:
    """Lines of illegible joined-up writing."""
    strokes: list[Stroke] = []
    y = letter_px * 1.2
    while y + letter_px * 0.6 < height:
        x = letter_px * rng.uniform(0.2, 1.0)
        end = width * rng.uniform(0.4, 0.95)
        while x < end:
            letters = int(rng.integers(2, 9))
            strokes.append(_word(x, y, letters, letter_px, rng))
            x += letter_px * (0.55 * letters + 0.8)
        y += letter_px * 1.9
        if rng.random() < 0.3:
            break
    return strokes


def _word(x: float, y: float, letters: int, size: float, rng: np.random.Generator) -> Stroke:
    t = np.arange(0, letters, 0.1)
    tall = np.repeat(rng.choice([0.35, 0.4, 0.8, -0.6], letters, p=[0.5, 0.2, 0.2, 0.1]), 10)
    wave = np.sin(2 * np.pi * t)
    across = x + size * 0.55 * (t + 0.25 * np.cos(2 * np.pi * t + rng.uniform(0, 1)))
    return np.column_stack([across, y - size * (np.clip(wave, -0.2, 1) * tall)])


def _zigzag(height: int, width: int, step: float, rng: np.random.Generator) -> Stroke:
    lines = max(3, int((height + width) / max(step, 1.0) / 1.3))
    t = np.linspace(0, 1, lines)
    inset = 0.04
    points = []
    for index, share in enumerate(t):
        along = share * 2
        upper = np.array([min(along, 1.0), max(0.0, along - 1.0)])
        lower = np.array([max(0.0, along - 1.0), min(along, 1.0)])
        points.append(upper if index % 2 else lower)
    unit = np.clip(np.array(points) + rng.normal(0, 0.025, (lines, 2)), -0.02, 1.02)
    return np.asarray((inset + (1 - 2 * inset) * unit) * np.array([width - 1, height - 1]))


def _loop(height: int, width: int, rng: np.random.Generator) -> Stroke:
    corners = np.array([[0.05, 0.05], [0.95, 0.05], [0.95, 0.95], [0.05, 0.95], [0.05, 0.06]])
    shaken = corners + rng.normal(0, 0.02, corners.shape)
    return np.asarray(shaken * np.array([width - 1, height - 1]))


def _scaled(line: object, height: int, width: int, rng: np.random.Generator) -> Stroke:
    points = np.asarray(line, np.float64)
    wobble = rng.normal(0, 0.02, points.shape)
    return np.asarray((points + wobble) * np.array([width - 1, height - 1]))
