"""Fit the model of writers' hands: ``python -m sheet_reader.lab.fit_writer``.

Reads the boxes of simulated photographs, filled in by writers kept for this alone (see
``writers``), and estimates how the reader's log-probabilities scatter in one hand and between
hands; see ``decode/writer.py``. The sheets ask for the ten own digits: those are examples, too.
"""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.writer import DIGITS, FILE, centred, fit_model, model_text
from sheet_reader.digits.classes import CLASSES
from sheet_reader.digits.read import read_sheet
from sheet_reader.lab.hands import hands_of
from sheet_reader.lab.options import fitting_options, needed_data
from sheet_reader.lab.training.photos import sheets_of
from sheet_reader.lab.writers import WRITER_MODEL
from sheet_reader.numbers import LAB
from sheet_reader.simulate.cases import Desk, make_case, mixed

_SEED = LAB.writer_seed
_OUT = Path(__file__).resolve().parents[1] / "decode" / "data" / FILE
_desk: Desk | None = None

Boxes = tuple[NDArray[np.float64], NDArray[np.int64]]


def _start(data: Path) -> None:
    global _desk
    cv2.setNumThreads(1)
    _desk = Desk.of_samples(hands_of(WRITER_MODEL, data / "digits"), own_digits=True)


def _run(number: int) -> Boxes:
    """Probabilities (N, K) and true digits (N,) of the boxes with a digit in one photograph."""
    assert _desk is not None
    case = make_case(_desk, *mixed(number), _SEED + number, bare_share=0.0)
    found, digits = [np.zeros((0, len(CLASSES)))], [np.zeros(0, np.int64)]
    for crops, contents in sheets_of(case, _desk):
        held = {at: CLASSES.index(content) for at, content in contents.items()}
        written = {at: digit for at, digit in held.items() if digit < DIGITS}
        found.append(read_sheet(crops).probabilities[list(written)])
        digits.append(np.array(list(written.values()), np.int64))
    return np.concatenate(found), np.concatenate(digits)


@click.command()
@fitting_options(500, _OUT)
def main(photos: int, jobs: int, out: Path, data: Path | None) -> None:
    """Read simulated photographs and write the model."""
    place = needed_data(data)
    with multiprocessing.get_context("spawn").Pool(jobs, _start, (place,)) as pool:
        sheets = list(pool.imap(_run, range(photos)))
    probabilities = np.concatenate([p for p, _ in sheets])
    digits = np.concatenate([d for _, d in sheets])
    hands = np.repeat(np.arange(len(sheets)), [len(d) for _, d in sheets])
    model = fit_model(centred(probabilities), digits, hands)
    note = f"{len(digits):,} digits of {photos} simulated photographs, writers of this role alone"
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(model_text(model, note), encoding="utf-8")
    click.echo(f"{note}: {out.name}")


if __name__ == "__main__":
    main()
