"""The calibration data: the checked fields that the shipped promise rests on.

``data/calibration.csv`` has the columns ``writer,doubt,right,wrong,sheets``: how many fields by
this writer with a confidence of 1 - 10^-doubt were read right and wrong (doubt rounded down to a
40th), and on which sheets the wrong ones stood (numbers, one for each, with a space between). Where
it is not known who wrote, ``writer`` is left out and doubt is rounded down to 0.01. The fields come
from simulated photographs; ``python -m sheet_reader.lab.calibrate`` writes the file.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.audits import Checked
from sheet_reader.numbers import DECODE

PLACE = Path(__file__).parent / "data" / "calibration.csv"
NO_SHEET = -1
"""In place of a sheet's number for fields read right: it is not kept."""
_MOST_DOUBT = DECODE.most_doubt
_STEPS, _STEPS_BY_WRITER = 100, 40
"""Steps of doubt for each unit; a multiple of 8 by writer, so that no field changes sides of a
threshold of ``promise_table.GRID``."""


def shipped_calibration() -> Checked:
    """The shipped checked fields."""
    return parse_calibration(PLACE.read_text(encoding="utf-8"))


def parse_calibration(text: str) -> Checked:
    """Checked fields from the text of a calibration file, right and wrong ones well mixed."""
    doubts: list[float] = []
    correct: list[bool] = []
    sheets: list[int] = []
    writers: list[str] = []
    lines = csv.reader(text.splitlines())
    head = next(lines, [])
    for line in lines:
        row = dict(zip(head, line, strict=True))
        right, wrong = int(row["right"]), int(row["wrong"])
        doubts += [float(row["doubt"])] * (right + wrong)
        correct += [True] * right + [False] * wrong
        if "writer" in row:
            writers += [row["writer"]] * (right + wrong)
        sheets += [NO_SHEET] * right + [int(number) for number in row["sheets"].split()]
        if len(sheets) != len(correct):
            raise ValueError(f"{wrong} wrong fields but other sheets: {row['sheets']!r}")
    order = np.random.default_rng(0).permutation(len(doubts))
    scores = 1.0 - 10.0 ** -np.asarray(doubts, dtype=np.float64)
    names = np.asarray(writers, np.str_)[order] if writers else None
    return Checked.of(
        scores[order], np.asarray(correct, bool)[order], np.asarray(sheets)[order], writers=names
    )


def calibration_text(data: Checked) -> str:
    """The calibration file for ``data``: confidences rounded down."""
    doubt = -np.log10(np.maximum(1.0 - data.scores, 10.0**-_MOST_DOUBT))
    numbers = np.arange(len(doubt)) if data.sheets is None else data.sheets
    if data.writers is None:
        rows = _rows(doubt, data.correct, numbers, _STEPS)
        return "\n".join(["doubt,right,wrong,sheets", *rows]) + "\n"
    lines = ["writer,doubt,right,wrong,sheets"]
    for writer in np.unique(data.writers):
        own = data.writers == writer
        rows = _rows(doubt[own], data.correct[own], numbers[own], _STEPS_BY_WRITER)
        lines += [f"{writer},{row}" for row in rows]
    return "\n".join(lines) + "\n"


def _rows(
    doubt: NDArray[np.float64], correct: NDArray[np.bool_], sheets: NDArray[np.int64], steps: int
) -> Iterator[str]:
    places = np.floor(doubt * steps + 1e-9).astype(np.int64)
    digits = 2 if steps == _STEPS else 3
    for place in np.unique(places):
        here = places == place
        wrong = sheets[here & ~correct]
        names = " ".join(str(number) for number in wrong)
        right = int(here.sum()) - len(wrong)
        yield f"{place / steps:.{digits}f},{right},{len(wrong)},{names}"


def write_calibration(data: Checked, path: Path) -> None:
    """Write the calibration file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(calibration_text(data), encoding="utf-8")
