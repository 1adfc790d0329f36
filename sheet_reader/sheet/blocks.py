"""A plot's block on the sheet: its title, and for each count a label, tally space and boxes."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.sheet.draft import BOX_HEIGHT, Draft, box_groups, draw_boxes, row_width
from sheet_reader.sheet.drawing import Face, Line, Text
from sheet_reader.sheet.fonts import fit, text_width, wrap
from sheet_reader.study.model import CountField, Plot, Study

TITLE_HEIGHT = 7.2
LEAST_TALLY = 14.0
MOST_STRETCH = 3.2
_ABOVE = 1.7
_BELOW = 2.1
_LINE_STEP = 3.6
_TOTAL_EXTRA = 1.6
_CAP = 0.73


@dataclass(frozen=True, slots=True)
class Row:
    """One count of a block: its lines of text and the height they need with the boxes."""

    count: CountField
    lines: tuple[tuple[tuple[str, float, Face], ...], ...]
    total: bool

    @property
    def height(self) -> float:
        """Height in mm before stretching."""
        text = _ABOVE + 2.3 + _LINE_STEP * (len(self.lines) - 1) + _BELOW
        return text + BOX_HEIGHT + (_TOTAL_EXTRA if self.total else 0)


@dataclass(frozen=True, slots=True)
class Block:
    """Some or all counts of a plot that stand together; ``title`` is the plot's heading."""

    plot: Plot
    rows: tuple[Row, ...]
    title: str
    aside: str

    @property
    def height(self) -> float:
        """Height in mm before stretching."""
        return TITLE_HEIGHT + sum(row.height for row in self.rows)


def make_blocks(study: Study, pieces: int, width: float) -> list[Block] | None:
    """The study's blocks for columns of the given width, each plot cut into ``pieces``; None
    where a text or a row of boxes does not fit the width.
    """
    totals = {rule.total for rule in study.sums}
    size = -(-len(study.counts) // pieces)
    blocks = []
    for plot in study.plots:
        rows = []
        for count in study.counts:
            row = _row(count, width, f"{plot.name}.{count.name}" in totals)
            if row is None:
                return None
            rows.append(row)
        if fit(plot.label, width, 4.0, 2.8, "bold") == 0.0:
            return None
        for start in range(0, len(rows), size):
            aside = plot.treatment if start == 0 else "continued"
            blocks.append(Block(plot, tuple(rows[start : start + size]), plot.label, aside))
    return blocks


def _row(count: CountField, width: float, total: bool) -> Row | None:
    if row_width(box_groups("count", count.boxes)) + LEAST_TALLY > width:
        return None
    face: Face = "bold" if total else "plain"
    label = count.label + (f", {count.unit}" if count.unit else "")
    for size in (3.15, 2.9, 2.65):
        used = text_width(label, size, face)
        note = text_width(count.note, 2.6, "italic") + 1.6 if count.note else 0.0
        if used + note <= width:
            line = ((label, size, face), (count.note, 2.6, "italic"))
            return Row(count, (line if count.note else line[:1],), total)
    lines = wrap(label, width, 2.9, face)
    notes = wrap(count.note, width, 2.6, "italic")
    if lines is None or notes is None or len(lines) + len(notes) > 3:
        return None
    text = [((line, 2.9, face),) for line in lines]
    text += [((line, 2.6, "italic"),) for line in notes]
    return Row(count, tuple(text), total)


def draw_block(
    draft: Draft, block: Block, x: float, y: float, width: float, stretch: float
) -> None:
    """Draw the block with its top left corner at (x, y); every row gains ``stretch`` mm."""
    size = fit(block.title, width, 4.0, 2.8, "bold")
    draft.marks.append(Text(x, y + 3.6, block.title, size, "bold"))
    free = width - text_width(block.title, size, "bold") - 2.5
    aside = fit(block.aside, free, 3.1, 2.0, "italic") if block.aside else 0.0
    if aside:
        draft.marks.append(Text(x + width, y + 3.6, block.aside, aside, "italic", "right"))
    draft.marks.append(Line(((x, y + 5.6), (x + width, y + 5.6)), 0.45))
    top = y + TITLE_HEIGHT
    for number, row in enumerate(block.rows):
        _draw_row(draft, block.plot, row, x, top, width, stretch, number == 0)
        top += row.height + stretch


def _draw_row(
    draft: Draft,
    plot: Plot,
    row: Row,
    x: float,
    top: float,
    width: float,
    stretch: float,
    first: bool,
) -> None:
    bottom = top + row.height + stretch
    box_top = bottom - BOX_HEIGHT
    baseline = box_top - _BELOW - _LINE_STEP * (len(row.lines) - 1)
    if row.total:
        line_y = baseline - 2.3 - 1.5
        draft.marks.append(Line(((x, line_y), (x + width, line_y)), 0.45))
    for line in row.lines:
        left = x
        for text, size, face in line:
            draft.marks.append(Text(left, baseline, text, size, face))
            left += text_width(text, size, face) + 1.6
        baseline += _LINE_STEP
    groups = box_groups("count", row.count.boxes)
    boxes_left = x + width - row_width(groups)
    draw_boxes(draft, f"{plot.name}.{row.count.name}", groups, boxes_left, box_top)
    _tally(draft, x, boxes_left - 2.0, box_top, first)


def _tally(draft: Draft, left: float, right: float, box_top: float, named: bool) -> None:
    foot = box_top + BOX_HEIGHT
    tray = ((left, foot - 1.6), (left, foot), (right, foot), (right, foot - 1.6))
    draft.marks.append(Line(tray, 0.2))
    if named:
        draft.marks.append(Text(left + 0.9, foot - 0.9, "tally", 2.1, "italic"))
