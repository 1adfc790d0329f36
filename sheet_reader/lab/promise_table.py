r"""Works out the table of the shipped promise: ``python -m sheet_reader.lab.promise_table``.

Fields with a confidence of at least t are accepted. The share wrong among them is no monotone
function of t, so it is not enough to bound it where it happens to look good (plain conformal risk
control fails here: arXiv 2602.20151). Instead each threshold of a grid fixed beforehand is a
hypothesis "more than allowed_error of what t accepts is wrong", tested by the exact binomial tail

    p(t) = P(Binomial(n_t, allowed_error) <= k_t)      (Clopper–Pearson, see ``error_share``)

for k_t wrong of n_t checked fields; it is rejected at level delta where the upper bound of t at
delta is at most allowed_error, so one table of bounds serves every allowed_error. The thresholds
are tested in a fixed order, from a start chosen without these data towards looser ones, each at
level delta, stopping at the first that is not rejected: fixed-sequence testing within Learn then
Test (Angelopoulos, Bates, Candès, Jordan & Lei, Annals of Applied Statistics 19:1641, 2025). The
last rejected threshold keeps the promise with probability at least 1 - delta over the draw of the
checked fields. Selective prediction with
a guarantee goes back to Geifman & El-Yaniv 2017 (arXiv 1705.08500), who split delta over their
search steps instead.

The sampling unit is the person: what is promised is promised for people like those who wrote the
checked fields. Errors cluster by person (one odd hand), so the tail is not the binomial's but that
of counts with a rate of its own for each person (``error_share``); every fifth person's fields
choose the start, the others' are tested. Where nobody knows who wrote, each field stands alone.

What the promise rests on: the checked fields are a fair sample of those that will be accepted. How
the shipped ones and a study's own go together: ``audits``.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click
import numpy as np

from sheet_reader.decode import promise
from sheet_reader.decode.audits import Checked, above_errors
from sheet_reader.decode.error_share import lower_bound, upper_bound
from sheet_reader.decode.promise import DELTA, PromiseTable, Tested
from sheet_reader.lab.calibration_file import shipped_calibration
from sheet_reader.numbers import DECODE

START = DECODE.start
PLACE = Path(promise.__file__).parent / "data" / promise.FILE
_MORE_ERRORS = DECODE.pilot_more_errors

GRID: tuple[float, ...] = tuple(1.0 - 10.0 ** (-j / 8.0) for j in range(64, 3, -1))
"""Thresholds from strict (1 - 1e-8) to loose (0.68), evenly spaced in log(1 - t)."""


def pilot_start(pilot: Checked, share: float = 1.0) -> float:
    """Where to start testing, from pilot data that are not tested themselves.

    The grid threshold whose exact upper bound would be lowest if the tested data looked like the
    pilot, ``share`` times as many. ``_MORE_ERRORS`` wrong fields more than seen are spread over all
    thresholds as the scores' own doubt is, so that a pilot too small to show an error does not
    lead to too loose a start.
    """
    all_doubt = max(float((1.0 - pilot.scores).sum()), 1e-12)
    bounds = []
    for threshold in GRID:
        wrong, checked = pilot.at(threshold)
        doubt = float((1.0 - pilot.scores[pilot.scores >= threshold]).sum())
        expected = (wrong + _MORE_ERRORS * doubt / all_doubt) * share
        bounds.append(upper_bound(round(expected), round(checked * share), DELTA))
    return GRID[int(np.argmin(bounds))] if min(bounds) < 1.0 else START


def from_start(
    data: Checked, start: float = START, delta: float = DELTA, most: float = 0.5
) -> PromiseTable:
    """The thresholds from ``start`` to looser ones, down to the first whose bound is above
    ``most``, so that the table answers for every allowed error up to that (``study/reader.py``
    takes none above 0.5).

    ``start`` must not have been chosen by looking at these data (:func:`pilot_start` on other
    data is right).
    """
    rows: list[Tested] = []
    for threshold in [start, *(t for t in GRID if t < start)]:
        people = data.people(threshold)
        count = None if people is None else len(people)
        rows.append(Tested(threshold, *data.at(threshold), count, data.bound(threshold, delta)))
        if rows[-1].bound > most:
            break
    wrong, checked = data.at(start)
    lower = lower_bound(wrong, checked, delta)
    people = data.people(start)
    sizes = None if people is None else tuple(sorted(people.tolist()))
    above = above_errors(data, start)
    return PromiseTable(tuple(rows), len(data.scores), delta, lower, above, sizes)


def table_of(data: Checked, delta: float = DELTA, most: float = 0.5) -> PromiseTable:
    """The table of one set of checked fields: those of every fifth person choose the start, the
    others' are tested.

    The split uses nothing but who wrote (or, where that is not known, the position in the data),
    so the test stays honest.
    """
    turn = np.arange(len(data.scores))
    if data.writers is not None:
        turn = np.unique(data.writers, return_inverse=True)[1]
    pilot = turn % 5 == 0
    return from_start(data.part(~pilot), pilot_start(data.part(pilot), 4.0), delta, most)


@click.command()
def main() -> None:
    """Write the table of the shipped promise, from the calibration file."""
    table = table_of(shipped_calibration())
    PLACE.write_text(json.dumps(asdict(table), indent=1) + "\n", encoding="utf-8")
    for allowed_error in (0.005, 0.002, 0.001):
        click.echo(table.promise(allowed_error).sentence)


if __name__ == "__main__":
    main()
