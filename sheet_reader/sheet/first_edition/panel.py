"""The part of a page without counts: how to write, the study's instructions, comments."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from sheet_reader.sheet.drawing import Blocks, Curve, Dot, Face, Line, Mark, Text
from sheet_reader.sheet.first_edition.draft import Draft
from sheet_reader.sheet.fonts import fit, wrap
from sheet_reader.sheet.model_digits import model_digit
from sheet_reader.study.model import Study

RULES: tuple[tuple[str, Face], ...] = (
    ("Write 0 where you found none. Leave a box empty only if you did not look.", "bold"),
    ("Wrong digit? Fill its box in completely and go on in the next free box.", "plain"),
    ("No free box left? Write the number beside the boxes; a person will look at it.", "plain"),
)
LEAST_COMMENTS = 14.0
_TWO_COLUMNS = 110.0
_GUTTER = 8.0
_GUIDE_SHARE = 0.56
_SIZE = 3.0
_STEP = 3.9
_INDENT = 2.8
_STRIKE_RULE = 1
"""The rule that the example of a struck box follows."""
_EXAMPLE = 4.6


@lru_cache(maxsize=64)
def _guide(instructions: tuple[str, ...], width: float) -> tuple[tuple[Mark, ...], float] | None:
    """How to write, with its top left corner at (0, 0): the marks and their height in mm, or
    None where a word is too wide.
    """
    marks: list[Mark] = [Text(0, 2.9, "Write like this", 3.3, "bold")]
    step = min(7.2, (width - 4.0) / 9)
    tall = min(5.6, step * 0.86)
    for place, digit in enumerate("0123456789"):
        marks.extend(model_digit(digit, place * step, 5.4, tall, 0.42))
    y = 5.4 + tall + 5.2
    points: list[tuple[str, Face]] = [*RULES]
    points += [(text, "plain") for text in instructions]
    for number, (text, face) in enumerate(points):
        lines = wrap(text, width - _INDENT, _SIZE, face)
        if lines is None:
            return None
        marks.append(Blocks(((0, y - 1.6, 1.1, 1.1),)))
        for line in lines:
            marks.append(Text(_INDENT, y, line, _SIZE, face))
            y += _STEP
        if number == _STRIKE_RULE:
            marks.extend(_struck_example(_INDENT, y - 2.6))
            y += _EXAMPLE + 1.4
        y += 0.8
    return tuple(marks), y - _STEP


def _struck_example(x: float, y: float) -> list[Mark]:
    """A number put right: 1, a filled box, 2, and how it is read."""
    width = _EXAMPLE * 0.8
    marks: list[Mark] = []
    for place, digit in enumerate("1 2"):
        left = x + place * (width + 1.0)
        right, foot = left + width, y + _EXAMPLE
        frame = ((left, y), (right, y), (right, foot), (left, foot), (left, y))
        marks.append(Line(frame, 0.18))
        if digit == " ":
            marks.append(Blocks(((left + 0.35, y + 0.35, width - 0.7, _EXAMPLE - 0.7),)))
        else:
            tall = _EXAMPLE - 1.5
            marks.extend(model_digit(digit, left + (width - tall / 1.4) / 2, y + 0.75, tall, 0.35))
    after = x + 3 * (width + 1.0) + 0.8
    return [*marks, Text(after, y + _EXAMPLE * 0.5 + 1.05, "is read as 12", _SIZE)]


def _guide_width(width: float) -> float:
    return (width - _GUTTER) * _GUIDE_SHARE if width >= _TWO_COLUMNS else width


def panel_height(study: Study, width: float, instructions: bool, comments: bool) -> float | None:
    """The least height of a panel of this width, or None where a word does not fit."""
    guide = _guide(study.instructions if instructions else (), _guide_width(width))
    if guide is None:
        return None
    room = 0.0
    if study.comments is not None:
        label = study.comments.label
        free = width - _guide_width(width) - _GUTTER if width >= _TWO_COLUMNS else width
        if not fit(label, free, 3.3, 2.4, "bold"):
            return None
        room = study.comments.height_mm + 5.0 if comments else 0.0
    if width >= _TWO_COLUMNS:
        return max(guide[1], room)
    return guide[1] + (room + 3.5 if room else 0.0)


def draw_panel(
    draft: Draft, study: Study, box: tuple[float, float, float, float], instructions: bool
) -> None:
    """Draw the panel into ``box`` (x, y, width, height); comments fill what the guide leaves."""
    x, y, width, height = box
    guide = _guide(study.instructions if instructions else (), _guide_width(width))
    if guide is None:
        return
    marks, used = guide
    draft.marks.extend(_moved(mark, x, y) for mark in marks)
    if study.comments is None:
        return
    label = study.comments.label
    if width >= _TWO_COLUMNS:
        left = x + _guide_width(width) + _GUTTER
        _comments(draft, label, (left, y, x + width - left, height))
    elif height - used - 3.5 >= LEAST_COMMENTS:
        _comments(draft, label, (x, y + used + 3.5, width, height - used - 3.5))


def _comments(draft: Draft, label: str, box: tuple[float, float, float, float]) -> None:
    x, y, width, height = box
    size = fit(label, width, 3.3, 2.4, "bold") or 2.4
    draft.marks.append(Text(x, y + 2.9, label, size, "bold"))
    top, foot = y + 5.0, y + height
    corners = ((x, top), (x + width, top), (x + width, foot), (x, foot), (x, top))
    draft.marks.append(Line(corners, 0.18))


def _moved(mark: Mark, dx: float, dy: float) -> Mark:
    if isinstance(mark, Text | Dot):
        return replace(mark, x=mark.x + dx, y=mark.y + dy)
    if isinstance(mark, Line | Curve):
        return replace(mark, points=tuple((x + dx, y + dy) for x, y in mark.points))
    return Blocks(tuple((x + dx, y + dy, w, h) for x, y, w, h in mark.rectangles))
