"""Pools of pen strokes in one shape: real ones from the sets, and as many as wanted by the hand."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import LAB
from sheet_reader.simulate.hand import digit_strokes, random_hand, sign_names, sign_strokes

Stroke = NDArray[np.float64]
_Sample = tuple[Stroke, NDArray[np.bool_]]
POINTS = 48
"""Points per sample: enough that no span of a digit is longer than the pen is wide."""

SIGN_WEIGHTS = {"dash": 5, "long dash": 2, "tick": 5, "rounded tick": 2, "question mark": 4}
SIGN_WEIGHTS |= {"slash": 2, "cross": 2, "wavy dash": 2, "plus": 2}
_STEEPEST_SLASH = LAB.steepest_slash


@dataclass(frozen=True, slots=True)
class StrokePool:
    """``points`` float32 (N, 48, 2), x right and y down, a digit's height is about 1 and its
    middle the origin; ``down`` bool (N, 47), whether the pen touches the paper between two points;
    ``labels`` int64 (N,): the digit, or -1.
    """

    points: NDArray[np.float32]
    down: NDArray[np.bool_]
    labels: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.labels)

    def take(self, which: NDArray[Any]) -> StrokePool:
        """The samples at these places, or where this mask is True."""
        return StrokePool(self.points[which], self.down[which], self.labels[which])


def resample(strokes: Sequence[Stroke], count: int = POINTS) -> tuple[Stroke, NDArray[np.bool_]]:
    """``count`` points spread over the strokes by length, at least two on each, and the spans on
    which the pen is down. Strokes beyond ``count // 2`` are left out.
    """
    strokes = list(strokes)[: count // 2]
    lengths = [float(np.hypot(*np.diff(s, axis=0).T).sum()) if len(s) > 1 else 0.0 for s in strokes]
    free = count - 2 * len(strokes)
    shares = np.array(lengths) + 1e-9
    extra = np.floor(free * shares / shares.sum()).astype(int)
    extra[int(np.argmax(shares))] += free - int(extra.sum())
    down = np.ones(count - 1, bool)
    parts: list[Stroke] = []
    at = 0
    for stroke, more in zip(strokes, extra, strict=True):
        parts.append(_spread(stroke, 2 + int(more)))
        at += 2 + int(more)
        if at < count:
            down[at - 1] = False
    return np.vstack(parts), down


def _spread(stroke: Stroke, count: int) -> Stroke:
    if len(stroke) == 1:
        return np.repeat(stroke, count, axis=0)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(stroke, axis=0).T))])
    wanted = np.linspace(0.0, along[-1], count)
    return np.column_stack([np.interp(wanted, along, stroke[:, axis]) for axis in (0, 1)])


def split_strokes(data: Mapping[str, Any]) -> Iterator[list[Stroke]]:
    """The strokes of each sample of a set with ``pts``, ``stroke_len`` and ``n_strokes``."""
    points = np.asarray(data["pts"], np.float64)
    ends = np.cumsum(data["stroke_len"])
    starts = ends - data["stroke_len"]
    at = 0
    for n in data["n_strokes"]:
        yield [points[starts[k] : ends[k]] for k in range(at, at + int(n))]
        at += int(n)


def pool_of_set(data: Mapping[str, Any], which: NDArray[np.bool_]) -> StrokePool:
    """The samples of a set where ``which`` is True, each scaled to height 1 about its middle."""
    chosen = [s for s, wanted in zip(split_strokes(data), which, strict=True) if wanted]
    samples = [_pack(strokes, scale=True) for strokes in chosen]
    return _pool(samples, np.asarray(data["labels"])[which])


def pool_of_units(samples: Sequence[Sequence[Stroke]], labels: NDArray[Any]) -> StrokePool:
    """Samples whose digit is 1 high already, about the origin, with any labels (N,)."""
    return _pool([_pack(strokes, scale=False) for strokes in samples], labels)


def _pack(strokes: Sequence[Stroke], scale: bool) -> tuple[Stroke, NDArray[np.bool_]]:
    points, down = resample(strokes)
    low, high = points.min(axis=0), points.max(axis=0)
    height = max(float(high[1] - low[1]), 0.25 * float(high[0] - low[0]), 1e-6)
    return (points - (low + high) / 2) / (height if scale else 1.0), down


def _pool(
    samples: Sequence[tuple[Stroke, NDArray[np.bool_]]], labels: Sequence[int] | NDArray[Any]
) -> StrokePool:
    return StrokePool(
        np.array([points for points, _ in samples], np.float32).reshape(-1, POINTS, 2),
        np.array([down for _, down in samples], bool).reshape(-1, POINTS - 1),
        np.asarray(labels, np.int64),
    )


def hand_digits(count: int, seed: int) -> StrokePool:
    """``count`` digits by many procedural writers, 20 digits from each."""
    rng = np.random.default_rng(seed)
    samples: list[_Sample] = []
    labels: list[int] = []
    while len(samples) < count:
        hand = random_hand(rng)
        for digit in rng.permutation(np.repeat(np.arange(10), 2)):
            samples.append(_pack(digit_strokes(int(digit), hand, rng), scale=True))
            labels.append(int(digit))
    return _pool(samples[:count], labels[:count])


def hand_signs(count: int, seed: int) -> StrokePool:
    """``count`` letters and signs that are no digit, labels -1; ticks, dashes and question marks
    more often than the rest.
    """
    rng = np.random.default_rng(seed)
    names = sign_names()
    weights = np.array([SIGN_WEIGHTS.get(name, 1) for name in names], float)
    samples: list[_Sample] = []
    while len(samples) < count:
        name = str(rng.choice(names, p=weights / weights.sum()))
        hand = replace(random_hand(rng), height=0.98, spread=0.0)
        points, down = _pack(sign_strokes(name, hand, rng), scale=False)
        size = np.ptp(points, axis=0)
        if name in ("slash", "back slash") and size[1] > _STEEPEST_SLASH * size[0]:
            continue
        samples.append((points, down))
    return _pool(samples, np.full(count, -1))


def scribbles(count: int, seed: int) -> StrokePool:
    """``count`` ways to strike a digit out, about the origin and about 1 across, labels -1."""
    rng = np.random.default_rng(seed)
    kinds = (_zigzag, _zigzag, _dense, _dense, _spiral, _crossing, _bars)
    samples: list[_Sample] = []
    for _ in range(count):
        strokes = kinds[int(rng.integers(len(kinds)))](rng)
        turn = rng.uniform(-0.35, 0.35) if rng.random() < 0.7 else rng.uniform(-1.6, 1.6)
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        size = rng.uniform(0.75, 1.25) * np.array([rng.uniform(0.6, 1.0), 1.0])
        points, down = resample([stroke @ rotation.T * size for stroke in strokes])
        points += rng.normal(0.0, 0.012, points.shape)
        samples.append((points, down))
    return _pool(samples, np.full(count, -1))


def _zigzag(rng: np.random.Generator, low: int = 5, high: int = 16) -> list[Stroke]:
    turns = int(rng.integers(low, high))
    y = np.linspace(-0.5, 0.5, turns)[::-1] if rng.random() < 0.5 else np.linspace(-0.5, 0.5, turns)
    x = np.where(np.arange(turns) % 2 == 0, -0.5, 0.5) * rng.uniform(0.6, 1.0, turns)
    return [np.column_stack([x, y + rng.normal(0.0, 0.04, turns)])]


def _dense(rng: np.random.Generator) -> list[Stroke]:
    return _zigzag(rng, 16, 40)


def _spiral(rng: np.random.Generator) -> list[Stroke]:
    loops = rng.uniform(3.0, 8.0)
    t = np.linspace(0.0, 1.0, 90)
    angle = 6.283 * loops * t + rng.uniform(0.0, 6.28)
    drift = np.column_stack([(t - 0.5) * rng.uniform(0.0, 0.8), (t - 0.5) * rng.uniform(-0.5, 0.5)])
    radius = 0.3 + 0.2 * np.sin(6.283 * rng.uniform(0.3, 1.5) * t + rng.uniform(0, 6.28))
    return [drift + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])]


def _crossing(rng: np.random.Generator) -> list[Stroke]:
    """Several lines each way, as one strikes out with crosses."""
    lines: list[Stroke] = []
    for sign in (1.0, -1.0):
        for shift in np.linspace(-0.3, 0.3, int(rng.integers(1, 4))) + rng.normal(0.0, 0.05):
            ends = np.array([[-0.5, -0.5 * sign + shift], [0.5, 0.5 * sign + shift]])
            lines.append(ends + rng.normal(0.0, 0.06, (2, 2)))
    return lines


def _bars(rng: np.random.Generator) -> list[Stroke]:
    """Two to four lines side by side."""
    shifts = np.linspace(-0.22, 0.22, int(rng.integers(2, 5)))
    ends = [np.array([[-0.55, shift], [0.55, shift]]) for shift in shifts]
    return [line + rng.normal(0.0, 0.05, (2, 2)) for line in ends]


def many(
    make: Callable[[int, int], StrokePool], count: int, seed: int, workers: int | None = None
) -> StrokePool:
    """``count`` samples by ``make(count, seed)`` on all cores; the same whatever their number."""
    tasks = 32
    sizes = [count // tasks + (k < count % tasks) for k in range(tasks)]
    seeds = [seed * 1_000 + k for k in range(tasks)]
    workers = workers or os.cpu_count() or 1
    if workers == 1:
        parts = [make(size, s) for size, s in zip(sizes, seeds, strict=True)]
    else:
        parts = list(_executor(workers).map(make, sizes, seeds))
    return join(parts)


@cache
def _executor(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(workers)


def start_workers() -> None:
    """Starts the worker processes: to be called before PyTorch starts threads of its own."""
    workers = os.cpu_count() or 1
    if workers > 1:
        list(_executor(workers).map(abs, range(workers)))


def join(pools: Sequence[StrokePool]) -> StrokePool:
    """One pool of several."""
    return StrokePool(
        np.concatenate([pool.points for pool in pools]),
        np.concatenate([pool.down for pool in pools]),
        np.concatenate([pool.labels for pool in pools]),
    )
