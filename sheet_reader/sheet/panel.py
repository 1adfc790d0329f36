"""The part of a page without counts: how to write, the study's instructions, comments."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache

from sheet_reader.sheet.draft import Draft, draw_area, draw_cell, frame, model_digit
from sheet_reader.sheet.fonts import (
    CAPITAL,
    INSTRUCTION,
    LABEL,
    TooWideError,
    text_width,
    wrap_even,
)
from sheet_reader.sheet.page import Blocks, Box, Cell, Curve, Face, Line, Mark, Text
from sheet_reader.study.fields import OWN_DIGITS
from sheet_reader.study.study import Study
from sheet_reader.study.words import SheetWords

LEAST_COMMENTS = 20.0
"""Least height of the space for comments, mm."""
OWN_BOX = (6.4, 7.6)
"""Width and height of a box for one of the volunteer's own digits: as slender as the others."""
_OWN_PITCH = 8.6
_TWO_COLUMNS = 110.0
_GUTTER = 8.0
_GUIDE_SHARE = 0.56
_STEP = 4.1
_AFTER_RULE = 1.0
_INDENT = 3.0
_HEADING = 5.2
_DIGIT = 5.6
_PEN = 0.42
_EXAMPLE = OWN_BOX
_EXAMPLE_GAP = 1.5
_DASH = 1.5
_OVER_COMMENTS = 2.5
_ROOM_BELOW = 60.0
"""From this height on that the guide leaves, comments stand below it in full width."""



@dataclass(slots=True)
class WritingGuide:
    """How to write, with its top left corner at (0, 0): marks, own-digit boxes, height in mm."""

    marks: list[Mark] = field(default_factory=list)
    cells: list[Cell] = field(default_factory=list)
    height: float = 0.0


@lru_cache(maxsize=64)
def _guide(
    words: SheetWords, own: bool, instructions: tuple[str, ...], width: float
) -> WritingGuide:
    """The guide for this width; raises TooWideError where a word is too wide for it."""
    if text_width(words.write_like_this, LABEL, "bold") > width:
        raise TooWideError(words.write_like_this)
    guide = WritingGuide([Text(0, CAPITAL * LABEL, words.write_like_this, LABEL, "bold")])
    guide.height = _HEADING
    _digits(guide, words, own, width)
    points: list[tuple[str, Face]] = [(words.write_zero, "bold")]
    rest = (words.one_each, words.wrong_digit, words.no_free_box, *instructions)
    for text, face in [*points, *((text, "plain") for text in rest)]:
        base = guide.height + CAPITAL * INSTRUCTION
        middle = base - CAPITAL * INSTRUCTION / 2
        guide.marks.append(Line(((0.1, middle), (_DASH, middle)), 0.35))
        for line in wrap_even(text, width - _INDENT, INSTRUCTION, face):
            guide.marks.append(Text(_INDENT, base, line, INSTRUCTION, face))
            base += _STEP
        guide.height = base - CAPITAL * INSTRUCTION + _AFTER_RULE
        if text is words.wrong_digit:
            _example(guide, words, width)
    return guide


def _digits(guide: WritingGuide, words: SheetWords, own: bool, width: float) -> None:
    """The model digits and, where asked for, a box below each for the volunteer's own."""
    pitch = _OWN_PITCH if own else min(7.6, (width - 4.0) / 9)
    across = 5 if own and int((width + 2.2) / pitch) < 10 else 10
    if across * pitch - 2.2 > width:
        raise TooWideError(words.own_digits)
    tall = min(_DIGIT, pitch * 0.86)
    inset = (OWN_BOX[0] - tall / 1.4) / 2 if own else 0.0
    for digit in range(10):
        row, place = divmod(digit, across)
        if row and not place:
            guide.height += tall + (1.7 + OWN_BOX[1] + 1.9 if own else 0.0)
        x, y = place * pitch, guide.height
        guide.marks.extend(model_digit(str(digit), x + inset, y, tall, _PEN))
        if own:
            guide.cells.append(Cell(OWN_DIGITS, digit, (x, y + tall + 1.7, *OWN_BOX)))
    guide.height += tall + (1.7 + OWN_BOX[1] + 1.9 if own else 0.0)
    if own:
        for line in wrap_even(words.own_digits, width, INSTRUCTION):
            base = guide.height + CAPITAL * INSTRUCTION
            guide.marks.append(Text(0, base, line, INSTRUCTION))
            guide.height += _STEP
        guide.height += 0.6
    guide.height += 3.4 if not own else 1.4


def _example(guide: WritingGuide, words: SheetWords, width: float) -> None:
    """A number put right: 1, a 3 crossed out from corner to corner, 2, and how it is read."""
    wide, high = _EXAMPLE
    y = guide.height + 0.2
    for place, digit in enumerate("132"):
        left = _INDENT + place * (wide + _EXAMPLE_GAP)
        guide.marks.extend(frame((left, y, wide, high)))
        tall = high - 2.2
        guide.marks.extend(model_digit(digit, left + (wide - tall / 1.4) / 2, y + 1.1, tall, 0.36))
        if digit == "3":
            guide.marks.extend(_cross((left + 0.4, y + 0.4, wide - 0.8, high - 0.8)))
    x = _INDENT + 3 * (wide + _EXAMPLE_GAP) + 0.8
    text = words.read_as.format(number="12")
    guide.marks.append(Text(x, y + high / 2 + CAPITAL * INSTRUCTION / 2, text, INSTRUCTION))
    guide.height = y + high + 2.0
    if x + text_width(text, INSTRUCTION) > width:
        raise TooWideError(text)


def _cross(box: Box) -> list[Mark]:
    """A cross from corner to corner, drawn as a hand would: a little bent."""
    x, y, width, height = box

    def stroke(*points: tuple[float, float]) -> Curve:
        return Curve(
            tuple((round(x + px * width, 3), round(y + py * height, 3)) for px, py in points), 0.36
        )

    return [
        stroke((0.0, 0.03), (0.3, 0.38), (0.66, 0.66), (1.0, 0.98)),
        stroke((0.98, 0.0), (0.7, 0.36), (0.34, 0.62), (0.02, 1.0)),
    ]


def _guide_width(width: float) -> float:
    return (width - _GUTTER) * _GUIDE_SHARE if width >= _TWO_COLUMNS else width


def _guide_of(study: Study, width: float, first: bool) -> WritingGuide:
    """The guide of this width: on the first page with the study's instructions and the boxes for
    the volunteer's own digits.
    """
    own = study.own_digits and first
    return _guide(study.words, own, study.instructions if first else (), width)


def panel_height(study: Study, width: float, first: bool, last: bool) -> float:
    """The least height of a panel of this width, infinite where a word does not fit. Comments have
    their place on the last page; others show them where there is room.
    """
    beside = width >= _TWO_COLUMNS
    try:
        guide = _guide_of(study, _guide_width(width), first)
    except TooWideError:
        return math.inf
    if study.comments is None:
        return guide.height
    free = width - _guide_width(width) - _GUTTER if beside else width
    if text_width(study.comments.label, LABEL, "bold") > free:
        return math.inf
    room = max(LEAST_COMMENTS, study.comments.height_mm) + _HEADING if last else 0.0
    if beside:
        return max(guide.height, room)
    return guide.height + (room + _OVER_COMMENTS if room else 0.0)


def draw_panel(draft: Draft, study: Study, box: Box, first: bool) -> None:
    """Draw the panel into ``box`` (x, y, width, height); comments fill what the guide leaves, in a
    high panel below it, else beside it.
    """
    x, y, width, height = box
    across, beside = _guide_of(study, width, first), width >= _TWO_COLUMNS
    guide = _guide_of(study, _guide_width(width), first)
    if beside and height - across.height >= _ROOM_BELOW:
        guide, beside = across, False
    draft.marks.extend(_moved(mark, x, y) for mark in guide.marks)
    for cell in guide.cells:
        left, top, wide, high = cell.box_mm
        draw_cell(draft, replace(cell, box_mm=(round(x + left, 3), round(y + top, 3), wide, high)))
    if beside:
        left = x + _guide_width(width) + _GUTTER
        _comments(draft, study, (left, y, x + width - left, height))
    else:
        used = guide.height + _OVER_COMMENTS
        _comments(draft, study, (x, y + used, width, height - used))


def _comments(draft: Draft, study: Study, box: Box) -> None:
    """Draw the space for comments with its label, where there is enough of it."""
    x, y, width, height = box
    if study.comments is None or height - _HEADING < LEAST_COMMENTS - 1e-6:
        return
    draft.marks.append(Text(x, y + CAPITAL * LABEL, study.comments.label, LABEL, "bold"))
    draw_area(draft, "comments", (x, y + _HEADING, width, height - _HEADING), closed=True)


def _moved(mark: Mark, dx: float, dy: float) -> Mark:
    if isinstance(mark, Text):
        return replace(mark, x=mark.x + dx, y=mark.y + dy)
    if isinstance(mark, Line | Curve):
        return replace(mark, points=tuple((x + dx, y + dy) for x, y in mark.points))
    return Blocks(tuple((x + dx, y + dy, w, h) for x, y, w, h in mark.rectangles))
