"""A plot's block on the sheet: its title, and a row for each count.

In a row label, tally space and boxes share a strip of paper.
"""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from sheet_reader.sheet.draft import BOX_HEIGHT, Draft, boxes_width, draw_area, draw_boxes
from sheet_reader.sheet.fonts import (
    CAPITAL,
    HAIRLINE,
    HINT,
    INSTRUCTION,
    LABEL,
    PLOT,
    RULE,
    SizedLine,
    TooWideError,
    heading,
    text_width,
    wrap_even,
)  # fmt: skip
from sheet_reader.sheet.page import Box, Face, Line, Text
from sheet_reader.study.study import CountField, Plot, Study

Style = Literal["beside", "above", "in line"]
"""The label stands over the tally space and beside the boxes, above both, or left of both."""

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
MOST_AIR = 3.0
"""White that a row gains first beyond the tally space it wants, mm."""
_TITLE_STEP = 4.6
_UNDER_TITLE = 1.9
_BESIDE_TITLE = 3.0


@dataclass(frozen=True, slots=True)
class Row:
    """A count laid out for one width (all in mm): ``lines`` of its label and note, the ``tally``
    space's width (0.0: none), least and ``wanted`` height.
    """

    count: CountField
    style: Style
    lines: tuple[tuple[SizedLine, ...], ...]
    total: bool
    width: float
    tally: float
    wanted: float

    @property
    def text(self) -> float:
        """Height of the lines of text, from the top of a capital to the last baseline."""
        return CAPITAL * LABEL + _STEP * (len(self.lines) - 1)

    @property
    def height(self) -> float:
        """Height of the row with the least tally space."""
        if self.style == "in line":
            return 2 * _PAD + max(BOX_HEIGHT, self.text)
        if self.style == "above":
            return _PAD + self.text + _OVER_BOXES + BOX_HEIGHT + _PAD
        under = _GAP + TALLY_LINE if self.tally else 0.0
        return 2 * _PAD + max(BOX_HEIGHT, self.text + under)

    def tally_height(self, height: float) -> float:
        """Height of the tally space in a row of this height."""
        above = {"in line": 0.0, "beside": self.text + _GAP, "above": self.text + _OVER_BOXES}
        return height - 2 * _PAD - above[self.style]


def make_row(count: CountField, width: float, *, total: bool) -> Row:
    """The count laid out in a strip of this width, as low as can be; raises TooWideError where it
    does not fit.
    """
    styles: tuple[Style, ...] = ("in line",) if width >= WIDE else ("beside", "above")
    rows = []
    for style in styles:
        with contextlib.suppress(TooWideError):
            rows.append(_row(count, style, width, total=total))
    if not rows:
        raise TooWideError(count.label)
    return min(rows, key=lambda row: row.height)


def _row(count: CountField, style: Style, width: float, *, total: bool) -> Row:
    left = width - boxes_width(count.kind.groups(count.boxes)) - _BEFORE_BOXES
    label = {"beside": left, "above": width, "in line": width * _LABEL_SHARE}[style]
    lines = _lines(count, label, "bold" if total else "plain")
    tallied = not total and count.kind.is_amount if count.tally is None else count.tally
    room = left - (label + _BEFORE_BOXES if style == "in line" else 0.0)
    if left <= 0 or len(lines) > _MOST_LINES or (tallied and room < LEAST_TALLY):
        raise TooWideError(count.label)
    needed = math.ceil(count.highest / 5) * GATE / max(room, 1.0)
    wanted = TALLY_LINE * min(MOST_TALLY_LINES, max(1, math.ceil(needed)))
    return Row(count, style, tuple(lines), total, width, room if tallied else 0.0, wanted)


def _lines(count: CountField, width: float, face: Face) -> list[tuple[SizedLine, ...]]:
    """Label and unit in lines, the note after them where it fits, else below."""
    label = f"{count.label} ({count.unit})" if count.unit else count.label
    lines: list[tuple[SizedLine, ...]] = [
        ((line, LABEL, face),) for line in wrap_even(label, width, LABEL, face)
    ]
    free = width - text_width(lines[-1][0][0], LABEL, face) - _WORD_GAP
    if not count.note:
        return lines
    if text_width(count.note, HINT, "italic") <= free:
        return [*lines[:-1], (*lines[-1], (count.note, HINT, "italic"))]
    below = wrap_even(count.note, width, HINT, "italic")
    return [*lines, *(((line, HINT, "italic"),) for line in below)]


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
    groups = row.count.kind.groups(row.count.boxes)
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


@dataclass(frozen=True, slots=True)
class Block:
    """Counts of a plot that stand together. ``title`` has a line or more; ``aside`` (text and
    size) stands at the right end of the first, where it fits there.
    """

    plot: Plot
    rows: tuple[Row, ...]
    title: tuple[SizedLine, ...]
    aside: str
    title_mm: float

    @property
    def height(self) -> float:
        """Least height in mm."""
        return self.title_mm + sum(row.height for row in self.rows)

    @property
    def most(self) -> float:
        """Height at which every row has all the tally space it wants, and air."""
        wants = sum(max(0.0, row.wanted - TALLY_LINE) for row in self.rows if row.tally)
        return self.height + wants + MOST_AIR * len(self.rows)

    def heights(self, height: float) -> list[float]:
        """The rows' heights in a block of this height: the tally spaces rise together towards
        what they want, then all rows get air.
        """
        slack = max(0.0, height - self.height)
        low, high = 0.0, 1.0
        for _ in range(40):
            share = (low + high) / 2
            low, high = (share, high) if sum(self._gains(share)) <= slack else (low, share)
        gains = self._gains(low)
        air = (slack - sum(gains)) / len(self.rows)
        return [row.height + gain + air for row, gain in zip(self.rows, gains, strict=True)]

    def _gains(self, share: float) -> list[float]:
        return [
            max(0.0, share * row.wanted - row.tally_height(row.height)) if row.tally else 0.0
            for row in self.rows
        ]

    def tally_share(self, height: float) -> float:
        """The smallest share (0..1) of the wanted tally space that a row gets at this height."""
        shares = [
            min(1.0, row.tally_height(tall) / row.wanted)
            for row, tall in zip(self.rows, self.heights(height), strict=True)
            if row.tally
        ]
        return min(shares, default=1.0)


def make_blocks(study: Study, pieces: int, width: float) -> list[Block]:
    """The study's blocks for columns of the given width, each plot cut into ``pieces`` as even as
    can be; raises TooWideError where a text or a row of boxes does not fit the width.
    """
    totals = {rule.total for rule in study.sums}
    size, longer = divmod(len(study.counts), pieces)
    cuts = [piece * size + min(piece, longer) for piece in range(pieces + 1)]
    parts = []
    for plot in study.plots:
        rows = [make_row(c, width, total=f"{plot.name}.{c.name}" in totals) for c in study.counts]
        for start, end in pairwise(cuts):
            aside = study.words.continued if start else plot.treatment
            parts.append((plot, tuple(rows[start:end]), *_title(plot.label, aside, width)))
    lines = max(len(title) for _, _, title, _ in parts)
    title_mm = CAPITAL * PLOT + _TITLE_STEP * (lines - 1) + _UNDER_TITLE
    return [Block(*part, title_mm) for part in parts]


def _title(label: str, aside: str, width: float) -> tuple[tuple[SizedLine, ...], str]:
    """The lines of a title, and what stands at the right end of the first."""
    title = heading(label, width, PLOT)
    free = width - text_width(*title[0]) - _BESIDE_TITLE
    if not aside or text_width(aside, INSTRUCTION, "italic") <= free:
        return tuple(title), aside
    below = wrap_even(aside, width, INSTRUCTION, "italic")
    return (*title, *((line, INSTRUCTION, "italic") for line in below)), ""


def draw_block(draft: Draft, block: Block, tally: str, place: Box) -> None:
    """Draw the block into ``place`` (x, y, width, height); ``tally`` is written into the first
    space to tally in.
    """
    x, y, width, height = place
    base = y + CAPITAL * PLOT
    for number, (text, size, face) in enumerate(block.title):
        draft.marks.append(Text(x, base + number * _TITLE_STEP, text, size, face))
    if block.aside:
        draft.marks.append(Text(x + width, base, block.aside, INSTRUCTION, "italic", "right"))
    top = y + block.title_mm
    captioned = False
    for number, (row, tall) in enumerate(zip(block.rows, block.heights(height), strict=True)):
        heavy = row.total or not number
        draft.marks.append(Line(((x, top), (x + width, top)), RULE if heavy else HAIRLINE))
        field = f"{block.plot.name}.{row.count.name}"
        left = draw_row(draft, row, field, (x, top, tall))
        if left is not None and not captioned:
            captioned = True
            upper = draft.areas[-1].box_mm[1]
            caption = Text(left + 1.0, upper + 0.9 + CAPITAL * HINT, tally, HINT, "italic")
            draft.marks.append(caption)
        top += tall
