"""How people fill in the row that asks for their own ten digits."""

from __future__ import annotations

import numpy as np

from sheet_reader.simulate.habits import Habits

EMPTY = "empty"


def own_row(habits: Habits, rng: np.random.Generator) -> list[str]:
    """What stands in the ten boxes of the own digits: "0" to "9" in order, unless the row is left
    empty, digits are left out (their boxes empty, or the others moved up), it goes from 1 to 0, or
    one digit stands in place of another.
    """
    if rng.random() < habits.row_empty:
        return [EMPTY] * 10
    row, roll = list("0123456789"), rng.random()
    if roll < habits.row_partial:
        left_out = set(rng.choice(10, int(rng.integers(1, 8)), replace=False).tolist())
        if rng.random() < 0.5:
            return [EMPTY if i in left_out else digit for i, digit in enumerate(row)]
        kept = [digit for i, digit in enumerate(row) if i not in left_out]
        return kept + [EMPTY] * len(left_out)
    if roll < habits.row_partial + habits.row_from_one:
        return row[1:] + row[:1]
    if roll < habits.row_partial + habits.row_from_one + habits.row_slip:
        row[int(rng.integers(10))] = str(rng.integers(10))
    return row
