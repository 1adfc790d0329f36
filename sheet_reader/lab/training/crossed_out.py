"""Crossed-out digits against digits that have a stroke across: the two ways to confuse them.

``python -m sheet_reader.lab.training.crossed_out``: recorded pen strokes of one role's writers, as
they are or with one or two lines of the same pen from corner to corner of the box, drawn and
photographed as training crops are. A crossed-out digit taken for a digit is a wrong number; a
crossed 7, a slashed 0, a 4 or an 8 taken for a crossed-out digit is lost or asked about. The lines
are drawn apart from those of training (``crossing``). 7s with a bar and 0s with a slash are found
by their strokes, so those written without lifting the pen count among the other digits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import click
import numpy as np
import torch
from numpy.typing import NDArray

from sheet_reader.digits.classes import CLASSES, STRUCK
from sheet_reader.digits.read import BoxReader
from sheet_reader.lab.evaluate import weights_option
from sheet_reader.lab.hands import STROKE_SETS, sound
from sheet_reader.lab.measures import DIGITS
from sheet_reader.lab.sets import load
from sheet_reader.lab.training import strokes
from sheet_reader.lab.training.batches import Batches, Mix
from sheet_reader.lab.training.sources import Wanted, gather, pool_tensors
from sheet_reader.lab.training.strokes import Stroke
from sheet_reader.lab.writers import DEV, ROLES, Role
from sheet_reader.numbers import LAB

GROUPS = ("crossed out, two strokes", "crossed out, one stroke", "7 with a bar", "0 with a slash",
          "4", "8", "other digits")  # fmt: skip
TWO, ONE, BAR, SLASH, FOUR, EIGHT, REST = range(len(GROUPS))
_HALF_BOX = np.array([0.585, 0.69])
"""Half a box's width and height where a digit of usual size is 1 high."""
_EACH = LAB.crossed_crops
Read = Callable[[NDArray[np.uint8]], NDArray[np.float64]]


def group_of(digit: int, sample: Sequence[Stroke]) -> int:
    """Which group a digit without a cross belongs to; ``sample`` are its strokes (N, 2)."""
    low, high = _bounds(sample)
    tall = max(float(high[1] - low[1]), 1e-6)
    longest = max(range(len(sample)), key=lambda k: _length(sample[k]))
    for k, stroke in enumerate(sample):
        if k == longest or len(stroke) < 2:
            continue
        wide, high_by = np.ptp(stroke, axis=0)
        place = float(stroke[:, 1].mean() - low[1]) / tall
        if digit == 7 and wide > max(1.5 * high_by, 0.25 * tall) and 0.25 < place < 0.75:
            return BAR
        straight = float(np.hypot(*(stroke[-1] - stroke[0]))) / max(_length(stroke), 1e-6)
        if digit == 0 and high_by > 0.35 * tall and straight > 0.9:
            return SLASH
    return {4: FOUR, 8: EIGHT}.get(digit, REST)


def _bounds(sample: Sequence[Stroke]) -> tuple[Stroke, Stroke]:
    points = np.concatenate(list(sample))
    return points.min(axis=0), points.max(axis=0)


def _length(stroke: Stroke) -> float:
    return float(np.hypot(*np.diff(stroke, axis=0).T).sum())


def crossed(sample: Sequence[Stroke], lines: int, rng: np.random.Generator) -> list[Stroke]:
    """The strokes of a digit 1 high about the origin and ``lines`` across it."""
    across = []
    for sign in rng.permutation([1.0, -1.0])[:lines]:
        ends = np.array([[-1.0, -sign], [1.0, sign]]) * _HALF_BOX
        across.append(ends + rng.normal(0.0, 0.05, (2, 2)))
    return [*sample, *across]


def crops_of_groups(
    role: Role, each: int = _EACH, seed: int = 31
) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Crops uint8 (N, 64, 64) and their groups (N,), places in ``GROUPS``; about ``each`` of every
    group that the role's writers have.
    """
    rng = np.random.default_rng(seed)
    found: dict[int, list[list[Stroke]]] = {}
    for name in STROKE_SETS:
        data = load(name)
        held = sound(name, role)
        for keep, label, sample in zip(
            held, data["labels"], strokes.split_strokes(data), strict=True
        ):
            if not keep:
                continue
            low, high = _bounds(sample)
            height = max(float(high[1] - low[1]), 0.25 * float(high[0] - low[0]), 1e-6)
            unit = [(stroke - (low + high) / 2) / height for stroke in sample]
            group = group_of(int(label), unit)
            found.setdefault(group, []).append(unit)
            found.setdefault(TWO, []).append(crossed(unit, 2, rng))
            if label != 0:  # one line through a 0 may be its slash
                found.setdefault(ONE, []).append(crossed(unit, 1, rng))
    samples, groups = [], []
    for group, ways in sorted(found.items()):
        chosen = rng.permutation(len(ways))[:each]
        samples += [ways[k] for k in chosen]
        groups += [group] * each
        samples += [ways[k] for k in rng.choice(chosen, each - len(chosen))]
    return _drawn(samples, np.array(groups), seed)


def _drawn(
    samples: Sequence[Sequence[Stroke]], groups: NDArray[np.int64], seed: int
) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """The samples as training crops; each is drawn about twice, in a random choice."""
    cpu = torch.device("cpu")
    pool = pool_tensors(strokes.pool_of_units(samples, groups), cpu)
    some = gather(cpu, Wanted(("unipen", "pendigits", "mnist"), DEV, hand=640, seed=seed))
    batches = Batches(replace(some, digits=((pool, 1.0),)), Mix(len(samples), 0, 0, 0, 0, 0, 0),
                      seed, cpu)  # fmt: skip
    crops, places = batches.next()
    return crops.numpy().astype(np.uint8), places.numpy()


def lines_of(read: Read, crops: NDArray[np.uint8], groups: NDArray[np.int64]) -> list[str]:
    """A table: what each group is called."""
    out = [f"{'written':<26}{'n':>6}{'called struck %':>17}{'a digit %':>11}{'over 0.9 %':>12}"]
    for group, name in enumerate(GROUPS):
        held = groups == group
        if held.any():
            struck, digit, sure = (100 * share for share in shares(read(crops[held])))
            out.append(f"{name:<26}{held.sum():>6}{struck:>17.2f}{digit:>11.2f}{sure:>12.2f}")
    return out


def shares(probabilities: NDArray[np.float64]) -> tuple[float, float, float]:
    """Shares (0..1) called struck, called a digit, and called a digit with more than 0.9."""
    answers = probabilities.argmax(axis=1)
    digit = answers < DIGITS
    sure = probabilities[:, :DIGITS].max(axis=1) > 0.9
    struck = answers == CLASSES.index(STRUCK)
    return float(struck.mean()), float(digit.mean()), float(sure.mean())


@click.command()
@weights_option
@click.option("--role", type=click.Choice(ROLES), default=DEV, show_default=True)
@click.option("--each", type=click.IntRange(10), default=_EACH, help="Crops of each group, about.")
def main(weights: Path | None, role: Role, each: int) -> None:
    """Print what crossed-out digits and digits with a stroke across are taken for."""
    reader = BoxReader.of_folder(weights)
    crops, groups = crops_of_groups(role, each)
    for line in lines_of(lambda some: reader.read_boxes(some).probabilities, crops, groups):
        click.echo(line)


if __name__ == "__main__":
    main()
