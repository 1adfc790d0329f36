"""How often volunteers do what: leave fields empty, correct, tally, remark."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Habits:
    """Shares (0..1): of count fields left empty, corrected, struck out whole, holding a sign that
    is no digit; of boxes with a stray mark; of digits that cross their frame; of header fields left
    empty; of counts with tally strokes beside them; of pages with a remark; of pages that say who
    counted. Of corrections so many have the wrong digit's box ``filled`` in; so many ``beside``
    have the whole number crossed out and the right one written beside the boxes; in all others the
    wrong digit is crossed out from corner to corner. Of rows of ten own digits so many are left
    empty; of those written so many have digits left out, are written from 1 to 0, or have one digit
    in place of another.
    """

    empty: float = 0.03
    corrected: float = 0.015
    struck: float = 0.006
    mark: float = 0.006
    stray: float = 0.006
    overlap: float = 0.05
    empty_header: float = 0.01
    tally: float = 0.3
    remark: float = 0.35
    counted_by: float = 0.8
    filled: float = 0.15
    beside: float = 0.12
    row_empty: float = 0.15
    row_partial: float = 0.06
    row_from_one: float = 0.05
    row_slip: float = 0.03


NEAT = Habits(
    0.03, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    row_empty=0.0, row_partial=0.0, row_from_one=0.0, row_slip=0.0,
)  # fmt: skip
TYPICAL = Habits()
SLOPPY = Habits(0.05, 0.03, 0.015, 0.015, 0.015, 0.12, 0.02, 0.5, 0.5)
HABITS = {"easy": NEAT, "typical": TYPICAL, "hard": SLOPPY}
