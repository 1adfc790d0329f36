"""The calibration data that ship with the package, and the threshold they bear out.

``data/calibration.csv`` has the columns ``doubt,right,wrong,sheets``: how many fields with a
confidence of 1 - 10^-doubt were read right and wrong (doubt rounded down to 0.01), and on which
sheets the wrong ones stood (numbers, one for each, with a space between). The fields come from
simulated photographs; ``python -m sheet_reader.lab.calibrate`` writes the file.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from sheet_reader.decode.audited import promise_for
from sheet_reader.decode.parameters import DECODE
from sheet_reader.decode.promise import Checked, NoPromise, Promise

FILE = "calibration.csv"
NO_SHEET = -1
"""In place of a sheet's number for fields read right: it is not kept."""
_MOST_DOUBT = DECODE.most_doubt


def shipped_calibration() -> Checked:
    """The shipped checked fields; none where the package has no calibration file."""
    place = files("sheet_reader.decode") / "data" / FILE
    if not place.is_file():
        return Checked.of([], [])
    return parse_calibration(place.read_text(encoding="utf-8"))


def parse_calibration(text: str) -> Checked:
    """Checked fields from the text of a calibration file, right and wrong ones well mixed."""
    doubts: list[float] = []
    correct: list[bool] = []
    sheets: list[int] = []
    for row in csv.DictReader(text.splitlines()):
        right, wrong = int(row["right"]), int(row["wrong"])
        doubts += [float(row["doubt"])] * (right + wrong)
        correct += [True] * right + [False] * wrong
        sheets += [NO_SHEET] * right + [int(number) for number in row["sheets"].split()]
        if len(sheets) != len(correct):
            raise ValueError(f"{wrong} wrong fields but other sheets: {row['sheets']!r}")
    order = np.random.default_rng(0).permutation(len(doubts))
    scores = 1.0 - 10.0 ** -np.asarray(doubts, dtype=np.float64)
    return Checked.of(scores[order], np.asarray(correct, bool)[order], np.asarray(sheets)[order])


def calibration_text(data: Checked) -> str:
    """The calibration file for ``data``: confidences rounded down to 0.01 of doubt."""
    doubt = -np.log10(np.maximum(1.0 - data.scores, 10.0**-_MOST_DOUBT))
    steps = np.floor(doubt * 100.0 + 1e-9).astype(np.int64)
    numbers = np.arange(len(steps)) if data.sheets is None else data.sheets
    lines = ["doubt,right,wrong,sheets"]
    for step in np.unique(steps):
        here = steps == step
        wrong = numbers[here & ~data.correct]
        names = " ".join(str(number) for number in wrong)
        lines.append(f"{step / 100:.2f},{int(here.sum()) - len(wrong)},{len(wrong)},{names}")
    return "\n".join(lines) + "\n"


def write_calibration(data: Checked, path: Path) -> None:
    """Write the calibration file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(calibration_text(data), encoding="utf-8")


def current_promise(allowed_error: float, own: Checked | None = None) -> Promise | NoPromise:
    """What can be promised for ``allowed_error`` (share of accepted fields that may be wrong) by
    the shipped data and the coordinator's ``own`` checked readings. Its ``threshold`` is the one
    to read with, promise or not.
    """
    return promise_for(allowed_error, shipped_calibration(), own)


@lru_cache(maxsize=32)
def default_threshold(allowed_error: float) -> float:
    """The threshold for ``allowed_error`` by the shipped data, or a conservative one."""
    return current_promise(allowed_error).threshold
