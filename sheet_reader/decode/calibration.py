"""The calibration data that ship with the package, and the threshold they bear out.

``data/calibration.csv`` has the columns ``doubt,right,wrong``: how many fields with a confidence
of 1 - 10^-doubt were read right and wrong (doubt rounded down to 0.01). The fields come from
simulated photographs; ``python -m sheet_reader.simulate.calibrate`` writes the file.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from sheet_reader.decode.promise import Checked, NoPromise, Promise, promise_for

FILE = "calibration.csv"
_MOST_DOUBT = 9.0


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
    for row in csv.DictReader(text.splitlines()):
        for name, truth in (("right", True), ("wrong", False)):
            count = int(row[name])
            doubts += [float(row["doubt"])] * count
            correct += [truth] * count
    order = np.random.default_rng(0).permutation(len(doubts))
    scores = 1.0 - 10.0 ** -np.asarray(doubts, dtype=np.float64)
    return Checked(scores[order], np.asarray(correct, dtype=bool)[order])


def calibration_text(data: Checked) -> str:
    """The calibration file for ``data``: confidences rounded down to 0.01 of doubt."""
    doubt = -np.log10(np.maximum(1.0 - data.scores, 10.0**-_MOST_DOUBT))
    steps = np.floor(doubt * 100.0 + 1e-9).astype(np.int64)
    lines = ["doubt,right,wrong"]
    for step in np.unique(steps):
        here = steps == step
        right = int((here & data.correct).sum())
        lines.append(f"{step / 100:.2f},{right},{int(here.sum()) - right}")
    return "\n".join(lines) + "\n"


def write_calibration(data: Checked, path: Path) -> None:
    """Write the calibration file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(calibration_text(data), encoding="utf-8")


def current_promise(accepted_error: float, own: Checked | None = None) -> Promise | NoPromise:
    """What can be promised for ``accepted_error`` (share of accepted fields that may be wrong) by
    the shipped data and the coordinator's ``own`` checked readings. Its ``threshold`` is the one
    to read with, promise or not.
    """
    return promise_for(accepted_error, shipped_calibration(), own)


@lru_cache(maxsize=32)
def default_threshold(accepted_error: float) -> float:
    """The threshold for ``accepted_error`` by the shipped data, or a conservative one."""
    return current_promise(accepted_error).threshold
