"""Measures the reader on sets it was not trained on: ``python -m sheet_reader.lab.evaluate``.

Prints, for each set, the error with nothing rejected, the error of the rest when the least sure 2 %
are rejected, and the expected calibration error; then what non-digits are taken for, the time for
100 boxes on one core, and with ``--baselines`` other readers on the same crops.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.classes import CLASSES, EMPTY
from sheet_reader.digits.read import BoxReader
from sheet_reader.lab import measures, splits
from sheet_reader.lab.sets import clean_crops, data_folder, load
from sheet_reader.lab.writers import TEST

_Command = TypeVar("_Command", bound=Callable[..., object])


@dataclass(frozen=True, slots=True)
class TestSet:
    """Crops uint8 (N, 64, 64) and the digits (N,) in them, or -1 for what is no digit."""

    name: str
    crops: NDArray[np.uint8]
    labels: NDArray[np.int64]


def digit_sets(folder: Path | None = None) -> Iterator[TestSet]:
    """The benchmark's part of the sets that are present, raw images as clean crops."""
    names = (*splits.KNOWN_WRITERS, "chars74k_hnd", "semeion", "usps_test", "optdigits_orig")
    where = folder or data_folder()
    for name in names:
        if not (where / f"{name}.npz").exists():
            continue
        data = load(name, where)
        held = np.ones(len(data["labels"]), bool)
        if name in splits.KNOWN_WRITERS:
            held = splits.roles(name, data) == TEST
        labels = data["labels"][held].astype(np.int64)
        yield TestSet(name, clean_crops(data["images"][held]), labels)
    if (where / "boxed_uk_hand.npz").exists():
        data = load("boxed_uk_hand", where)
        held = data["split"].astype(str) == "test"
        yield TestSet("boxed_uk_hand", data["gray"][held], data["labels"][held].astype(np.int64))


def empty_and_several(folder: Path | None = None) -> tuple[TestSet, TestSet]:
    """Photographed empty boxes, and boxes with several small digits, of the test puzzles."""
    puzzles = splits.boxed_puzzles(load("boxed_uk_hand", folder))
    data = load("boxed_uk_empty", folder)
    held = splits.boxed_roles(data, puzzles) == TEST
    kind = data["kind"].astype(str)

    def of(name: str) -> TestSet:
        crops = data["gray"][held & (kind == name)]
        return TestSet(name, crops, np.full(len(crops), -1))

    return of("blank"), of("candidates")


def milliseconds(
    reader: BoxReader, crops: NDArray[np.uint8], rounds: int = 15
) -> tuple[float, float]:
    """Shortest and median time to read 100 boxes on one core, ms."""
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    spent = []
    for _ in range(rounds):
        begun = time.perf_counter()
        reader.read_boxes(crops[:100])
        spent.append(1000 * (time.perf_counter() - begun))
    cv2.setNumThreads(threads)
    return min(spent), float(np.median(spent))


weights_option = click.option(
    "--weights",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder with weights and calibration; the package's own if left out.",
)


def out_option(folder: Path) -> Callable[[_Command], _Command]:
    """``--out`` of a program that draws pictures; the folder is made."""
    return click.option(
        "--out", type=click.Path(path_type=Path, file_okay=False), default=folder, show_default=True
    )


def _line(name: str, figures: measures.SetFigures) -> str:
    shares = (figures.error, figures.error_at_2, figures.calibration)
    return f"{name:22s} {figures.count:6d} " + " ".join(f"{100 * share:8.2f}" for share in shares)


@click.command()
@weights_option
@click.option("--sets", multiple=True, metavar="SET", help="Only this set; may be repeated.")
@click.option("--baselines", is_flag=True, help="Other readers on the same crops too.")
@click.option(
    "--crops",
    type=click.Path(path_type=Path, exists=True),
    multiple=True,
    help="A file of lab.training.photos or .out_of_distribution; may be repeated.",
)
def main(
    weights: Path | None, sets: tuple[str, ...], baselines: bool, crops: tuple[Path, ...]
) -> None:
    """Print the table."""
    reader = BoxReader.of_folder(weights)
    click.echo(f"{'set':22s} {'n':>6s} {'error %':>8s} {'at 2 %':>8s} {'ECE %':>8s}")
    for test in digit_sets():
        if sets and test.name not in sets:
            continue
        readings = reader.read_boxes(test.crops).probabilities
        click.echo(_line(test.name, measures.figures(readings, test.labels)))
        if baselines:
            from sheet_reader.lab.baselines import lines

            for line in lines(test.crops, test.labels):
                click.echo(line)
    for path in crops:
        _crops_file(reader, path)
    if not sets:
        _non_digits(reader)


def _crops_file(reader: BoxReader, path: Path) -> None:
    """Figures of a file of crops: its digits, then each class that is no digit."""
    with np.load(path) as data:
        crops, labels = data["gray"], data["labels"].astype(np.int64)
    readings = reader.read_boxes(crops).probabilities
    digits = labels < measures.DIGITS
    if digits.any():
        click.echo(_line(path.stem, measures.figures(readings[digits], labels[digits])))
    for place, name in enumerate(CLASSES[measures.DIGITS :], measures.DIGITS):
        held = labels == place
        if held.any():
            wrong = 100 * float((readings[held].argmax(axis=1) != place).mean())
            sure = 100 * measures.sure_digits(readings[held])
            click.echo(f"  {path.stem}, {name}: {held.sum()}, called otherwise {wrong:.2f} %, "
                  f"a digit over 0.9 {sure:.2f} %")  # fmt: skip


def _non_digits(reader: BoxReader) -> None:
    blank, several = empty_and_several()
    readings = reader.read_boxes(blank.crops).probabilities
    taken = float((readings.argmax(axis=1) != CLASSES.index(EMPTY)).mean())
    click.echo(f"empty boxes taken for ink: {100 * taken:.2f} % of {len(blank.crops)}")
    readings = reader.read_boxes(several.crops).probabilities
    sure = measures.sure_digits(readings)
    count = len(several.crops)
    click.echo(f"several small digits, one digit over 0.9: {100 * sure:.2f} % of {count}")
    shortest, middle = milliseconds(reader, blank.crops)
    click.echo(f"100 boxes on one core: {shortest:.1f} ms at best, {middle:.1f} ms in the middle")


if __name__ == "__main__":
    main()
