"""The part of a page without counts: how to write, the study's instructions, comments."""

from __future__ import annotations

from sheet_reader.sheet.draft import Draft
from sheet_reader.sheet.drawing import Blocks, Line, Mark, Text
from sheet_reader.sheet.fonts import text_width, wrap
from sheet_reader.sheet.model_digits import model_digit
from sheet_reader.study.model import Study

RULES = (
    "Write 0 where you found none. Leave a box empty only if you did not look.",
    "Wrong digit? Fill its box in completely and go on in the next free box.",
)
LEAST_COMMENTS = 14.0
_TWO_COLUMNS = 110.0
_SIZE = 2.9
_STEP = 3.9


def _guide(study: Study, width: float, instructions: bool) -> tuple[list[Mark], float] | None:
    """How to write, with its top left corner at (0, 0); returns the marks and the height."""
    marks: list[Mark] = [Text(0, 3.0, "Write like this", 3.15, "bold")]
    height = 6.2
    step = min(6.6, (width - 4.6) / 9)
    digit_width = min(3.6, step * 0.64)
    for place, digit in enumerate("0123456789"):
        marks.extend(model_digit(digit, place * step, height - 1.2, digit_width * 1.4, 0.42))
    y = height + digit_width * 1.4 + 4.2
    lines = [*RULES, *(study.instructions if instructions else ())]
    for text in lines:
        wrapped = wrap(text, width - 3.0, _SIZE)
        if wrapped is None:
            return None
        marks.append(Blocks(((0, y - 1.55, 1.1, 1.1),)))
        for line in wrapped:
            marks.append(Text(3.0, y, line, _SIZE))
            y += _STEP
        y += 0.9
    return marks, y - _STEP + 0.6


def panel_height(study: Study, width: float, instructions: bool, comments: bool) -> float | None:
    """The least height of a panel of this width, or None where a word does not fit."""
    two = width >= _TWO_COLUMNS
    guide = _guide(study, (width - 8) * 0.58 if two else width, instructions)
    if guide is None:
        return None
    room = study.comments.height_mm + 5.5 if study.comments and comments else 0.0
    if study.comments and text_width(study.comments.label, 3.15, "bold") > width * 0.4:
        return None if two else guide[1] + room + 3
    return max(guide[1], room) if two else guide[1] + (room + 3 if room else 0)


def draw_panel(
    draft: Draft,
    study: Study,
    box: tuple[float, float, float, float],
    instructions: bool,
) -> None:
    """Draw the panel into ``box`` (x, y, width, height); comments fill what the guide leaves."""
    x, y, width, height = box
    two = width >= _TWO_COLUMNS
    guide = _guide(study, (width - 8) * 0.58 if two else width, instructions)
    if guide is None:
        return
    marks, used = guide
    draft.marks.extend(_moved(mark, x, y) for mark in marks)
    if study.comments is None:
        return
    if two:
        left = x + (width - 8) * 0.58 + 8
        _comments(draft, study.comments.label, (left, y, x + width - left, height))
    elif height - used - 3 >= LEAST_COMMENTS:
        _comments(draft, study.comments.label, (x, y + used + 3, width, height - used - 3))


def _comments(draft: Draft, label: str, box: tuple[float, float, float, float]) -> None:
    x, y, width, height = box
    draft.marks.append(Text(x, y + 3.0, label, 3.15, "bold"))
    top, foot = y + 5.2, y + height
    corners = ((x, top), (x + width, top), (x + width, foot), (x, foot), (x, top))
    draft.marks.append(Line(corners, 0.2))


def _moved(mark: Mark, dx: float, dy: float) -> Mark:
    if isinstance(mark, Text):
        return Text(mark.x + dx, mark.y + dy, mark.text, mark.size_mm, mark.face, mark.align)
    if isinstance(mark, Blocks):
        return Blocks(tuple((x + dx, y + dy, w, h) for x, y, w, h in mark.rectangles))
    if hasattr(mark, "points"):
        moved = tuple((px + dx, py + dy) for px, py in mark.points)
        return type(mark)(moved, mark.width_mm)
    return type(mark)(mark.x + dx, mark.y + dy, mark.diameter_mm)
