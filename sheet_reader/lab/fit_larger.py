"""Fit the larger network's temperature: ``python -m sheet_reader.lab.fit_larger``.

On the boxes of simulated photographs that it reads, those in which the small network is in doubt
(see ``digits/read.py``), filled in by the writers kept for temperatures.
"""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.classes import CLASSES
from sheet_reader.digits.read import LARGER_CALIBRATION, doubtful, larger_reader, read_boxes
from sheet_reader.lab.hands import hands_of
from sheet_reader.lab.options import fitting_options, needed_data
from sheet_reader.lab.temperature import temperature, write_calibration
from sheet_reader.lab.training.photos import sheets_of
from sheet_reader.lab.writers import TEMPERATURE
from sheet_reader.numbers import LAB
from sheet_reader.simulate.cases import Desk, make_case, mixed
from sheet_reader.simulate.troubles import FOR_CALIBRATION

_SEED = LAB.larger_seed
_OUT = Path(__file__).resolve().parents[1] / "digits" / LARGER_CALIBRATION
_desk: Desk | None = None

Boxes = tuple[NDArray[np.float64], NDArray[np.int64]]


def _start(data: Path) -> None:
    global _desk
    cv2.setNumThreads(1)
    _desk = Desk.of_samples(hands_of(TEMPERATURE, data / "digits"))


def _run(number: int) -> Boxes:
    """Scores (N, K) and true classes (N,) of the boxes read again in one photograph."""
    assert _desk is not None
    case = make_case(
        _desk, *mixed(number), _SEED + number, bare_share=0.0, troubles=FOR_CALIBRATION
    )
    scores, classes = [np.zeros((0, len(CLASSES)))], [np.zeros(0, np.int64)]
    for crops, contents in sheets_of(case, _desk):
        again = [at for at in doubtful(read_boxes(crops).probabilities).tolist() if at in contents]
        if again:
            scores.append(larger_reader().scores(crops[again]))
            classes.append(np.array([CLASSES.index(contents[at]) for at in again]))
    return np.concatenate(scores), np.concatenate(classes)


@click.command()
@fitting_options(300, _OUT)
def main(photos: int, jobs: int, out: Path, data: Path | None) -> None:
    """Read simulated photographs and write the calibration of the larger network."""
    place = needed_data(data)
    with multiprocessing.get_context("spawn").Pool(jobs, _start, (place,)) as pool:
        found = list(pool.imap(_run, range(photos)))
    scores, classes = (np.concatenate(part) for part in zip(*found, strict=True))
    note = f"{len(classes):,} boxes read again of {photos} simulated photographs, role temperature"
    write_calibration(out, temperature(scores, classes), [0.0] * len(CLASSES), note)
    click.echo(f"{note}: {out.name}")


if __name__ == "__main__":
    main()
