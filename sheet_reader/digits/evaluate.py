"""Measures the reader on sets it was not trained on: ``python -m sheet_reader.digits.evaluate``.

Prints, for each set, the error with nothing rejected, the error of the rest when the least sure 2 %
are rejected, and the expected calibration error; then what non-digits are taken for, the time for
100 boxes on one core, and with ``--peers`` other readers on the same crops.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits import measures, splits
from sheet_reader.digits.read import Reader
from sheet_reader.digits.sets import clean_crops, data_folder, load
from sheet_reader.digits.types import CLASSES, EMPTY


@dataclass(frozen=True, slots=True)
class TestSet:
    """Crops uint8 (N, 64, 64) and the digits (N,) in them, or -1 for what is no digit."""

    name: str
    crops: NDArray[np.uint8]
    labels: NDArray[np.int64]


def digit_sets(folder: Path | None = None) -> Iterator[TestSet]:
    """The test splits of the sets that are present, raw images as clean crops."""
    rules = {"mnist": splits.mnist_split, "pendigits_orig": splits.pendigits_split,
             "unipen_1a": splits.unipen_split}  # fmt: skip
    names = ("mnist", "pendigits_orig", "unipen_1a", "chars74k_hnd", "semeion", "usps_test",
             "optdigits_orig")  # fmt: skip
    where = folder or data_folder()
    for name in names:
        if not (where / f"{name}.npz").exists():
            continue
        data = load(name, where)
        held = (
            rules[name](data) == splits.TEST
            if name in rules
            else np.ones(len(data["labels"]), bool)
        )
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
    held = splits.boxed_split(data, puzzles) == splits.TEST
    kind = data["kind"].astype(str)

    def of(name: str) -> TestSet:
        crops = data["gray"][held & (kind == name)]
        return TestSet(name, crops, np.full(len(crops), -1))

    return of("blank"), of("candidates")


def milliseconds(reader: Reader, crops: NDArray[np.uint8], rounds: int = 15) -> tuple[float, float]:
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


def reader_and_folder(program: str, out: Path, arguments: list[str] | None) -> tuple[Reader, Path]:
    """What the drawing programs are told: which reader, and an existing folder for pictures."""
    parser = argparse.ArgumentParser(prog=program)
    parser.add_argument("--weights", type=Path, help="folder with weights and calibration")
    parser.add_argument("--out", type=Path, default=out)
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    return Reader.of_folder(options.weights), options.out


def _line(name: str, figures: measures.SetFigures) -> str:
    shares = (figures.error, figures.error_at_2, figures.calibration)
    return f"{name:22s} {figures.count:6d} " + " ".join(f"{100 * share:8.2f}" for share in shares)


def main(arguments: list[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m sheet_reader.digits.evaluate")
    parser.add_argument("--weights", type=Path, help="folder with weights and calibration")
    parser.add_argument("--sets", nargs="*", help="only these sets")
    parser.add_argument("--peers", action="store_true", help="other readers on the same crops too")
    parser.add_argument(
        "--crops",
        type=Path,
        nargs="*",
        default=[],
        help="files of digits.training.photos or .strange",
    )
    options = parser.parse_args(arguments)
    reader = Reader.of_folder(options.weights)
    print(f"{'set':22s} {'n':>6s} {'error %':>8s} {'at 2 %':>8s} {'ECE %':>8s}")
    for test in digit_sets():
        if options.sets and test.name not in options.sets:
            continue
        readings = reader.read_boxes(test.crops).probabilities
        print(_line(test.name, measures.figures(readings, test.labels)), flush=True)
        if options.peers:
            from sheet_reader.digits.peers import lines

            for line in lines(test.crops, test.labels):
                print(line, flush=True)
    for path in options.crops:
        _crops_file(reader, path)
    if not options.sets:
        _non_digits(reader)


def _crops_file(reader: Reader, path: Path) -> None:
    """Figures of a file of crops: its digits, then each class that is no digit."""
    with np.load(path) as data:
        crops, labels = data["gray"], data["labels"].astype(np.int64)
    readings = reader.read_boxes(crops).probabilities
    digits = labels < measures.DIGITS
    if digits.any():
        print(_line(path.stem, measures.figures(readings[digits], labels[digits])))
    for place, name in enumerate(CLASSES[measures.DIGITS :], measures.DIGITS):
        held = labels == place
        if held.any():
            wrong = 100 * float((readings[held].argmax(axis=1) != place).mean())
            sure = 100 * measures.sure_digits(readings[held])
            print(f"  {path.stem}, {name}: {held.sum()}, called otherwise {wrong:.2f} %, "
                  f"a digit over 0.9 {sure:.2f} %")  # fmt: skip


def _non_digits(reader: Reader) -> None:
    blank, several = empty_and_several()
    readings = reader.read_boxes(blank.crops).probabilities
    taken = float((readings.argmax(axis=1) != CLASSES.index(EMPTY)).mean())
    print(f"empty boxes taken for ink: {100 * taken:.2f} % of {len(blank.crops)}")
    readings = reader.read_boxes(several.crops).probabilities
    sure = measures.sure_digits(readings)
    print(f"several small digits, one digit over 0.9: {100 * sure:.2f} % of {len(several.crops)}")
    shortest, middle = milliseconds(reader, blank.crops)
    print(f"100 boxes on one core: {shortest:.1f} ms at best, {middle:.1f} ms in the middle")


if __name__ == "__main__":
    main()
