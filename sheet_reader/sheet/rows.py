"""One count on the sheet: how its label, tally space and boxes share a strip of paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sheet_reader.sheet.draft import (
    BOX_HEIGHT,
    Draft,
    boxes_width,
    draw_area,
    draw_boxes,
)
from sheet_reader.sheet.drawing import Face, Text
from sheet_reader.sheet.fonts import text_width, wrap_even
from sheet_reader.sheet.sizes import CAPITAL, HINT, LABEL
from sheet_reader.study.kinds import COUNT
from sheet_reader.study.model import CountField

Style = Literal["beside", "above", "in line"]
"""The label stands over the tally space and beside the boxes, above both, or left of both."""
Piece = tuple[str, float, Face]
Lines = tuple[tuple[Piece, ...], ...]

TALLY_LINE = 7.5
"""Height in mm that a line of tally strokes needs."""
GATE = 10.0
"""Width in mm of five strokes, one of them across, with the white before the next five."""
MOST_TALLY_LINES = 4
LEAST_TALLY = 14.0
"""Narrowest space to tally in, mm."""
WIDE = 120.0
"""From this width on label, tally space and boxes stand in one line."""
_PAD = 1.8
_GAP = 1.4
_OVER_BOXES = 2.2
_STEP = 4.1
_BEFORE_BOXES = 3.2
_MOST_LINES = 4
_LABEL_SHARE = 0.36
_WORD_GAP = 1.6
_OVER_BOXES = 2.2


@dataclass(frozen=True, slots=True)
class Row:
    """A count laid out for one width (all in mm): ``lines`` of its label and note, the ``tally``
    space's width (0.0: none), least and ``wanted`` height.
    """

    count: CountField
    style: Style
    lines: Lines
    total: bool
    width: float
    tally: float
    wanted: float

    @property
    def text(self) -> float:
        """Height of the lines of text, from the top of a capital to the last baseline."""
        return CAPITAL * LABEL + _STEP * (len(self.lines) - 1)

    @property
    def least(self) -> float:
        """Least height of the tally space."""
        return TALLY_LINE if self.tally else 0.0

    @property
    def height(self) -> float:
        """Height of the row with the least tally space."""
        if self.style == "in line":
            return 2 * _PAD + max(BOX_HEIGHT, self.text)
        if self.style == "above":
            return _PAD + self.text + _OVER_BOXES + BOX_HEIGHT + _PAD
        under = _GAP + self.least if self.tally else 0.0
        return 2 * _PAD + max(BOX_HEIGHT, self.text + under)

    def tally_height(self, height: float) -> float:
        """Height of the tally space in a row of this height."""
        above = {"in line": 0.0, "beside": self.text + _GAP, "above": self.text + _OVER_BOXES}
        return height - 2 * _PAD - above[self.style]


def make_row(count: CountField, width: float, *, total: bool) -> Row | None:
    """The count laid out in a strip of this width, as low as can be; None where it does not fit."""
    styles: tuple[Style, ...] = ("in line",) if width >= WIDE else ("beside", "above")
    rows = [row for style in styles if (row := _row(count, style, width, total=total))]
    return min(rows, key=lambda row: row.height) if rows else None


def _row(count: CountField, style: Style, width: float, *, total: bool) -> Row | None:
    left = width - boxes_width(COUNT.groups(count.boxes)) - _BEFORE_BOXES
    label = {"beside": left, "above": width, "in line": width * _LABEL_SHARE}[style]
    lines = _lines(count, label, "bold" if total else "plain")
    if lines is None or left <= 0:
        return None
    tallied = not total if count.tally is None else count.tally
    room = left - (label + _BEFORE_BOXES if style == "in line" else 0.0)
    if tallied and room < LEAST_TALLY:
        return None
    needed = math.ceil(count.highest / 5) * GATE / max(room, 1.0)
    wanted = TALLY_LINE * min(MOST_TALLY_LINES, max(1, math.ceil(needed)))
    return Row(count, style, lines, total, width, room if tallied else 0.0, wanted)


def _lines(count: CountField, width: float, face: Face) -> Lines | None:
    """Label and unit in lines, the note after them where it fits, else below."""
    label = f"{count.label} ({count.unit})" if count.unit else count.label
    wrapped = wrap_even(label, width, LABEL, face)
    if wrapped is None:
        return None
    lines: list[tuple[Piece, ...]] = [((line, LABEL, face),) for line in wrapped]
    if count.note:
        note: Piece = (count.note, HINT, "italic")
        free = width - text_width(wrapped[-1], LABEL, face) - _WORD_GAP
        if text_width(count.note, HINT, "italic") <= free:
            lines[-1] = (*lines[-1], note)
        else:
            below = wrap_even(count.note, width, HINT, "italic")
            if below is None:
                return None
            lines += [((line, HINT, "italic"),) for line in below]
    return tuple(lines) if len(lines) <= _MOST_LINES else None


def draw_row(draft: Draft, row: Row, field: str, place: tuple[float, float, float]) -> float | None:
    """Draw the row at ``place`` (x, y of its top left corner, height).

    Returns the left end of its tally space's caption line, or None where it has no tally space.
    """
    x, top, height = place
    in_line = row.style == "in line"
    baseline = top + _PAD + CAPITAL * LABEL
    if in_line or (row.style == "beside" and not row.tally):
        baseline += (height - 2 * _PAD - row.text) / 2
    for line in row.lines:
        left = x
        for text, size, face in line:
            draft.marks.append(Text(left, baseline, text, size, face))
            left += text_width(text, size, face) + _WORD_GAP
        baseline += _STEP
    groups = COUNT.groups(row.count.boxes)
    upper = top + (_PAD + row.text + _OVER_BOXES if row.style == "above" else _PAD)
    foot = top + height - _PAD
    boxes_left = x + row.width - boxes_width(groups)
    draw_boxes(draft, field, groups, boxes_left, (upper + foot - BOX_HEIGHT) / 2)
    if not row.tally:
        return None
    right = boxes_left - _BEFORE_BOXES
    tall = row.tally_height(height)
    draw_area(draft, "tally", (right - row.tally, foot - tall, row.tally, tall), field)
    return right - row.tally
