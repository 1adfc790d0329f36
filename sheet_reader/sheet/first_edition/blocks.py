"""A plot's block on the sheet: its title, and for each count a label, tally space and boxes."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.sheet.drawing import Face, Line, Text
from sheet_reader.sheet.first_edition.draft import (
    BOX_HEIGHT,
    Draft,
    box_groups,
    draw_boxes,
    row_width,
)
from sheet_reader.sheet.fonts import fit, text_width, wrap
from sheet_reader.study.model import CountField, Plot, Study

TITLE_HEIGHT = 5.6
LEAST_TALLY = 14.0
MOST_STRETCH = 3.4
_ABOVE = 1.0
_CAPITAL = 2.2
_BELOW = 2.2
_UNDER = 1.6
_LINE_STEP = 3.6
_TOTAL_EXTRA = 0.6
_HAIRLINE = 0.18
_TITLE = (4.2, 2.8)
_ASIDE = (3.2, 2.2)
"""Largest and least size of the plot's name and of its treatment, in mm."""
_ASIDE_STEP = 4.2
_RULE = 0.5

Piece = tuple[str, float, Face]


@dataclass(frozen=True, slots=True)
class Row:
    """One count of a block: its lines of text, each in pieces (text, size in mm, face)."""

    count: CountField
    lines: tuple[tuple[Piece, ...], ...]
    total: bool

    @property
    def height(self) -> float:
        """Height in mm before stretching: rule, text, boxes, white."""
        text = _ABOVE + _CAPITAL + _LINE_STEP * (len(self.lines) - 1) + _BELOW
        return text + BOX_HEIGHT + _UNDER + (_TOTAL_EXTRA if self.total else 0.0)


@dataclass(frozen=True, slots=True)
class Block:
    """Counts of a plot that stand together; ``aside`` stands at the right of the title, or
    below it in blocks with two lines of ``title_mm``.
    """

    plot: Plot
    rows: tuple[Row, ...]
    aside: str
    title_mm: float = TITLE_HEIGHT

    @property
    def height(self) -> float:
        """Height in mm before stretching."""
        return self.title_mm + sum(row.height for row in self.rows)


def make_blocks(study: Study, pieces: int, width: float) -> list[Block] | None:
    """The study's blocks for columns of the given width, each plot cut into ``pieces``; None
    where a text or a row of boxes does not fit the width.
    """
    totals = {rule.total for rule in study.sums}
    size = -(-len(study.counts) // pieces)
    title_mm = _title_height(study, width)
    if title_mm is None:
        return None
    blocks = []
    for plot in study.plots:
        rows = [_row(c, width, f"{plot.name}.{c.name}" in totals) for c in study.counts]
        whole = [row for row in rows if row is not None]
        if len(whole) < len(rows):
            return None
        for start in range(0, len(rows), size):
            aside = "continued" if start else plot.treatment
            blocks.append(Block(plot, tuple(whole[start : start + size]), aside, title_mm))
    return blocks


def _title_height(study: Study, width: float) -> float | None:
    """Height of a title, with the treatment below it where one line can't hold both; None where
    they do not fit the width at all.
    """
    height = TITLE_HEIGHT
    for plot in study.plots:
        size = fit(plot.label, width, *_TITLE, "bold")
        if not size or (plot.treatment and not fit(plot.treatment, width, *_ASIDE, "italic")):
            return None
        free = width - text_width(plot.label, size, "bold") - 2.5
        if plot.treatment and not fit(plot.treatment, free, *_ASIDE, "italic"):
            height = TITLE_HEIGHT + _ASIDE_STEP
    return height


def _row(count: CountField, width: float, total: bool) -> Row | None:
    if row_width(box_groups("count", count.boxes)) + LEAST_TALLY > width:
        return None
    face: Face = "bold" if total else "plain"
    label = f"{count.label} ({count.unit})" if count.unit else count.label
    note: tuple[Piece, ...] = ((count.note, 2.7, "italic"),) if count.note else ()
    room = width - (text_width(count.note, 2.7, "italic") + 1.6 if count.note else 0.0)
    for size in (3.2, 3.0, 2.8):
        if text_width(label, size, face) <= room:
            return Row(count, (((label, size, face), *note),), total)
    lines = wrap(label, width, 2.9, face)
    notes = wrap(count.note, width, 2.7, "italic")
    if lines is None or notes is None or len(lines) + len(notes) > 3:
        return None
    text: list[tuple[Piece, ...]] = [((line, 2.9, face),) for line in lines]
    text += [((line, 2.7, "italic"),) for line in notes]
    return Row(count, tuple(text), total)


def draw_block(
    draft: Draft, block: Block, x: float, y: float, width: float, stretch: float
) -> None:
    """Draw the block with its top left corner at (x, y); every row gains ``stretch`` mm."""
    title = block.plot.label
    size = fit(title, width, *_TITLE, "bold")
    draft.marks.append(Text(x, y + 3.6, title, size, "bold"))
    below = block.title_mm > TITLE_HEIGHT
    free = width if below else width - text_width(title, size, "bold") - 2.5
    aside = fit(block.aside, free, *_ASIDE, "italic")
    if block.aside and aside and below:
        draft.marks.append(Text(x, y + 3.6 + _ASIDE_STEP, block.aside, aside, "italic"))
    elif block.aside and aside:
        draft.marks.append(Text(x + width, y + 3.6, block.aside, aside, "italic", "right"))
    top = y + block.title_mm
    for number, row in enumerate(block.rows):
        heavy = row.total or not number
        rule = top + (0.2 if row.total and number else 0.0)
        draft.marks.append(Line(((x, rule), (x + width, rule)), _RULE if heavy else _HAIRLINE))
        _draw_row(draft, block.plot, row, (x, top, width), stretch)
        if not number:
            foot = top + row.height + stretch - _UNDER - stretch / 2
            draft.marks.append(Text(x, foot, "tally here", 2.3, "italic"))
        top += row.height + stretch


def _draw_row(
    draft: Draft, plot: Plot, row: Row, place: tuple[float, float, float], stretch: float
) -> None:
    x, top, width = place
    baseline = top + _ABOVE + stretch / 2 + _CAPITAL + (_TOTAL_EXTRA if row.total else 0.0)
    box_top = baseline + _LINE_STEP * (len(row.lines) - 1) + _BELOW
    for line in row.lines:
        left = x
        for text, size, face in line:
            draft.marks.append(Text(left, baseline, text, size, face))
            left += text_width(text, size, face) + 1.6
        baseline += _LINE_STEP
    groups = box_groups("count", row.count.boxes)
    left = x + width - row_width(groups)
    draw_boxes(draft, f"{plot.name}.{row.count.name}", groups, left, box_top)
