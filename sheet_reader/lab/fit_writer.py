"""Fit the model of writers' hands: ``python -m sheet_reader.lab.fit_writer``.

Reads the boxes of simulated photographs, filled in by writers kept for this alone (see
``writers``), and estimates how the reader's log-probabilities scatter in one hand and between
hands; see ``decode/writer.py``. The sheets ask for the ten own digits: those are examples, too.
"""

from __future__ import annotations

import json
import multiprocessing
from pathlib import Path

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.writer import DIGITS, FILE, WriterModel, centred
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


def fit_model(
    x: NDArray[np.float64], digits: NDArray[np.int64], hands: NDArray[np.int64]
) -> WriterModel:
    """The model from centred log-probabilities ``x`` (N, 10), the true ``digits`` (N,) and whose
    ``hands`` (N,) wrote them. A hand's digits of one kind count where there are three or more;
    the averages' own scatter is taken off ``between`` (analysis of variance, one way).
    """
    means = np.stack([x[digits == c].mean(axis=0) for c in range(DIGITS)])
    within = np.zeros((DIGITS, DIGITS))
    between = np.zeros((DIGITS, DIGITS))
    spare = groups = 0
    for hand in np.unique(hands):
        for c in range(DIGITS):
            own = x[(hands == hand) & (digits == c)]
            if len(own) < 3:
                continue
            off = own - own.mean(axis=0)
            scatter = off.T @ off
            shift = own.mean(axis=0) - means[c]
            within += scatter
            between += np.outer(shift, shift) - scatter / (len(own) - 1) / len(own)
            spare += len(own) - 1
            groups += 1
    return WriterModel(means, _positive(within / spare, 0.1), _positive(between / groups, 0.02))


def _positive(matrix: NDArray[np.float64], least: float) -> NDArray[np.float64]:
    """The nearest symmetric matrix with eigenvalues of at least ``least``."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    return np.asarray((vectors * np.maximum(values, least)) @ vectors.T, np.float64)


def model_text(model: WriterModel, note: str) -> str:
    """The model as JSON."""
    parts = {name: np.round(getattr(model, name), 4).tolist() for name in model.__slots__}
    return json.dumps({"note": note, **parts}, indent=1) + "\n"


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
