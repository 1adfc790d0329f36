"""The head of a page: title, who counted and the header fields; and its foot."""

from __future__ import annotations

import contextlib
import re
from dataclasses import dataclass

from sheet_reader.sheet.draft import (
    BOX_HEIGHT,
    Draft,
    boxes_width,
    draw_area,
    draw_boxes,
)
from sheet_reader.sheet.fonts import (
    CAPITAL,
    HINT,
    INSTRUCTION,
    LABEL,
    TITLE,
    SizedLine,
    TooWideError,
    fit,
    fit_or_cut,
    heading,
    text_width,
    wrap,
    wrap_even,
)  # fmt: skip
from sheet_reader.sheet.identity import CODE_MM, CODE_TOP, EDGE_MM, FOOT, MARKER_MM, QUIET_MM, SIDE
from sheet_reader.sheet.page import BLANK, SheetCode, Text
from sheet_reader.study.study import FieldSpec, Study
from sheet_reader.study.words import SheetWords

BOTTOM = FOOT + 1.4
"""Height of the bottom margin with its lines of text."""
CODE_FOOT = CODE_TOP + CODE_MM + QUIET_MM
"""Where the white below the machine code ends, mm from the top."""
_FIELDS_TOP = EDGE_MM + MARKER_MM + 4.0
_LABEL_STEP = 4.9
_CAPTION = 1.7 + CAPITAL * HINT
_FIELD_GAP = 7.0
_LINE_GAP = 3.0
_UNDER_FIELDS = 2.6
_BESIDE_MARKER = 3.0
_ADDRESS_MARKS = re.compile(r"(?<=.)(?=[@./_-])")
"""Before these an address may go on in the next line."""


def title_room(width: float) -> float:
    """Width in mm between the left margin and the marker in the middle of the top edge."""
    return (width - MARKER_MM) / 2 - _BESIDE_MARKER - SIDE


def title_lines(study: Study, width: float, of: int) -> list[SizedLine]:
    """The title in one line or two, and how to use the sheet below it; raises TooWideError where
    the title or a word is too long. A long title leaves no room for the page number beside it
    (``of`` above 1): then that stands in place of how to use the sheet.
    """
    room = title_room(width)
    usage = study.words.usage_pages if of > 1 else study.words.usage
    small = fit(usage, room, INSTRUCTION, HINT)
    if not small:
        raise TooWideError(usage)
    if of > 1:
        beside = text_width(_page_of(study.words, of, of), LABEL, "bold") + 4.0
        with contextlib.suppress(TooWideError):
            return [*_title(study.title, room - beside), (usage, small, "plain")]
        return [*_title(study.title, room), ("", INSTRUCTION, "plain")]
    return [*_title(study.title, room), (usage, small, "plain")]


def _title(title: str, room: float) -> list[SizedLine]:
    lines = heading(title, room, TITLE)
    if len(lines) > 2:
        raise TooWideError(title)
    return lines


def _page_of(words: SheetWords, page: int, of: int) -> str:
    return words.page.format(page=page, pages=of)


def draw_title(draft: Draft, study: Study, code: SheetCode, of: int, width: float) -> None:
    """Draw the title, the page number and how to use the sheet left of the top middle marker."""
    lines = title_lines(study, width, of)
    places = (5.6, 10.2) if len(lines) == 2 else (3.2, 7.3, 11.6)
    for (text, size, face), place in zip(lines, places, strict=False):
        if text:
            draft.marks.append(Text(SIDE, EDGE_MM + place, text, size, face))
    if of > 1:
        page = _page_of(study.words, code.page, of)
        right, base = SIDE + title_room(width), EDGE_MM + places[0]
        if not lines[-1][0]:
            base = EDGE_MM + places[-1]
        draft.marks.append(Text(right, base, page, LABEL, "bold", "right"))


def draw_counted_by(draft: Draft, words: SheetWords, width: float) -> None:
    """Draw the space for who counted, between the top middle marker and the machine code."""
    left = (width + MARKER_MM) / 2 + _BESIDE_MARKER
    right = width - SIDE - CODE_MM - QUIET_MM - 0.4
    label = fit(words.counted_by, right - left, LABEL, LABEL, "bold")
    draft.marks.append(Text(left, EDGE_MM + CAPITAL * LABEL, words.counted_by, label, "bold"))
    top = EDGE_MM + 4.2
    draw_area(draft, "counted_by", (left, top, right - left, 8.4))
    after = left + text_width(words.counted_by, LABEL, "bold") + 1.6
    if after + text_width(words.counted_by_hint, HINT, "italic") <= right:
        draft.marks.append(
            Text(after, EDGE_MM + CAPITAL * LABEL, words.counted_by_hint, HINT, "italic")
        )
    else:
        base = top + 0.8 + CAPITAL * HINT
        draft.marks.append(Text(left + 0.9, base, words.counted_by_hint, HINT, "italic"))


def counted_by_fits(words: SheetWords, width: float) -> bool:
    """Whether the words at the space for who counted fit into it."""
    room = (width - MARKER_MM) / 2 - _BESIDE_MARKER - SIDE - CODE_MM - QUIET_MM - 0.4
    label = text_width(words.counted_by, LABEL, "bold")
    return label <= room and text_width(words.counted_by_hint, HINT, "italic") <= room - 1.0


@dataclass(frozen=True, slots=True)
class FootPrint:
    """A way to set the foot, in mm: size of print, most lines, from one line to the next, and from
    the last to the height of the markers' edge.
    """

    size: float
    most: int
    step: float
    under: float


_FEET = (FootPrint(INSTRUCTION, 3, 3.9, 0.8), FootPrint(HINT, 4, 3.25, 0.6))
"""Small print and one line more only where the usual is not enough."""


def foot_lines(
    words: SheetWords, send_to: str, width: float
) -> tuple[FootPrint, list[SizedLine]] | None:
    """How to photograph the page and where to send the photo; None where it is too long."""
    room = title_room(width)
    for foot in _FEET:
        with contextlib.suppress(TooWideError):
            advice = wrap_even(words.photograph, room, foot.size)
            where = _send_to(words, send_to, room, foot.size) if send_to else []
            lines: list[SizedLine] = [(line, foot.size, "plain") for line in advice]
            lines += [(line, foot.size, "bold") for line in where]
            if len(lines) <= foot.most:
                return foot, lines
    return None


def _send_to(words: SheetWords, address: str, room: float, size: float) -> list[str]:
    """Where to send the photo in lines; an address that is wider than a line is parted once."""
    with contextlib.suppress(TooWideError):
        return wrap_even(words.send_to.format(address=address), room, size, "bold")
    for mark in reversed(list(_ADDRESS_MARKS.finditer(address))):
        parted = f"{address[: mark.start()]} {address[mark.start() :]}"
        with contextlib.suppress(TooWideError):
            lines = wrap(words.send_to.format(address=parted), room, size, "bold")
            if len(lines) <= 2:
                return lines
    raise TooWideError(address)


def draw_foot(draft: Draft, study: Study, width: float, height: float) -> None:
    """Draw the lines of the foot, right of the bottom middle marker."""
    found = foot_lines(study.words, study.send_to, width)
    if found is None:
        return
    foot, lines = found
    base = height - EDGE_MM - foot.under - foot.step * (len(lines) - 1)
    if len(lines) < foot.most:
        base -= foot.step / 2
    for text, size, face in lines:
        draft.marks.append(Text(width - SIDE, base, text, size, face, "right"))
        base += foot.step


def draw_fields(draft: Draft, study: Study, code: SheetCode, width: float) -> float:
    """Draw the header fields beside and below the machine code: all on the first page, site and
    date on every other. Returns where the head ends (mm from the top); raises TooWideError where a
    field is too wide for the page.
    """
    x, y, tallest = SIDE, _FIELDS_TOP, 0.0
    for field in (field for field in study.header if code.page == 1 or field.kind.is_key):
        groups = field.kind.groups(field.boxes, study.date_order)
        need = max(boxes_width(groups), text_width(field.label, LABEL, "bold"))
        if x > SIDE and x + need > _right(width, y):
            x, y, tallest = SIDE, y + tallest + _LINE_GAP, 0.0
        if x + need > _right(width, y):
            raise TooWideError(field.label)
        draft.marks.append(Text(x, y + CAPITAL * LABEL, field.label, LABEL, "bold"))
        used = _draw_field(draft, study, code, field, x, y + _LABEL_STEP)
        tallest = max(tallest, _LABEL_STEP + used)
        x += need + _FIELD_GAP
    return max(y + tallest + _UNDER_FIELDS, CODE_FOOT + 4.6)


def _right(width: float, y: float) -> float:
    return width - SIDE - (CODE_MM + QUIET_MM if y < CODE_FOOT else 0.0)


def _draw_field(
    draft: Draft, study: Study, code: SheetCode, field: FieldSpec, x: float, top: float
) -> float:
    """Draw one header field's boxes, or what is printed in their place; returns the height used."""
    groups = field.kind.groups(field.boxes, study.date_order)
    base = top + BOX_HEIGHT + _CAPTION
    printed = field.kind.printed(study, code.sheet) if code.sheet != BLANK else None
    if printed is not None:
        text, below = printed
        draft.marks.append(Text(x - 0.6, top + 8.2, text, 9.6, "bold", pitch_mm=7.2))
        if below:
            below, size = fit_or_cut(below, boxes_width(groups) + 4.0, INSTRUCTION, HINT)
            draft.marks.append(Text(x, base, below, size))
    else:
        middles = draw_boxes(draft, field.name, groups, x, top)
        for caption, middle in zip(field.kind.captions(study), middles, strict=False):
            size = fit(caption, 21.0, HINT, HINT) or HINT
            draft.marks.append(Text(middle, base, caption, size, align="centre"))
    return BOX_HEIGHT + (_CAPTION + 0.6 if field.kind.is_captioned else 0.0)
