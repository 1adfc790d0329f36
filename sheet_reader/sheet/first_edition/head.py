"""The head of a page: title, the two codes and the header fields."""

from __future__ import annotations

from sheet_reader.sheet.drawing import Text
from sheet_reader.sheet.first_edition.draft import (
    BOX_HEIGHT,
    Draft,
    box_groups,
    draw_boxes,
    row_width,
)
from sheet_reader.sheet.fonts import fit, fit_or_cut, text_width
from sheet_reader.sheet.identity import CODE_MM, CODE_TOP, QUIET_MM, SIDE
from sheet_reader.sheet.markers import EDGE_MM, MARKER_MM
from sheet_reader.sheet.model import BLANK, SheetCode
from sheet_reader.study.model import HeaderField, Study

_FIELDS_TOP = EDGE_MM + MARKER_MM + 3.2
_LABEL_STEP = 4.8
_CAPTION_STEP = 3.6
_FIELD_GAP = 6.0
_LINE_GAP = 3.2
_UNDER_FIELDS = 2.2

def title_size(study: Study, width: float) -> float:
    """The size of the title in mm, or 0.0 where it does not fit between the markers."""
    return fit(study.title, (width - MARKER_MM) / 2 - 2.5 - SIDE, 6.4, 2.4, "bold")


def draw_title(draft: Draft, study: Study, code: SheetCode, of: int, width: float) -> None:
    """Draw the title and the page number between the markers at the top edge."""
    size = title_size(study, width)
    draft.marks.append(Text(SIDE, EDGE_MM + 5.4, study.title, size, "bold"))
    usage = "One sheet for each visit. Write in black or blue."
    draft.marks.append(Text(SIDE, EDGE_MM + 10.0, usage, 3.1))
    if of > 1:
        left = (width + MARKER_MM) / 2 + 3.0
        draft.marks.append(Text(left, EDGE_MM + 5.4, f"Page {code.page} of {of}", 4.6, "bold"))
        draft.marks.append(Text(left, EDGE_MM + 10.0, "Keep the pages together.", 3.1))


def draw_foot(draft: Draft, width: float, height: float) -> None:
    """Draw the advice for the photograph between the markers at the bottom edge."""
    right, base = width - SIDE, height - EDGE_MM - 5.6
    for line in ("Photograph the whole page, sharp and flat,", "with all ten black marks in view."):
        draft.marks.append(Text(right, base, line, 3.0, align="right"))
        base += 4.1


def head_fields(study: Study, page: int) -> tuple[HeaderField, ...]:
    """The header fields of a page: all on the first, site and date on every other."""
    if page == 1:
        return study.header
    return tuple(f for f in study.header if f.kind != "number")


def draw_fields(draft: Draft, study: Study, code: SheetCode, width: float) -> float | None:
    """Draw the header fields beside and below the machine code.

    Returns where the head ends (mm from the top), or None where a field is too wide for the page.
    """
    code_foot = CODE_TOP + CODE_MM + QUIET_MM
    x, y, tallest = SIDE, _FIELDS_TOP, 0.0
    for field in head_fields(study, code.page):
        groups = box_groups(field.kind, field.boxes)
        need = max(row_width(groups), text_width(field.label, 3.15, "bold"))
        if x > SIDE and x + need > _right(width, y, code_foot):
            x, y, tallest = SIDE, y + tallest + _LINE_GAP, 0.0
        if x + need > _right(width, y, code_foot):
            return None
        draft.marks.append(Text(x, y + 2.3, field.label, 3.15, "bold"))
        used = _draw_field(draft, study, code, field, x, y + _LABEL_STEP)
        tallest = max(tallest, _LABEL_STEP + used)
        x += need + _FIELD_GAP
    return max(y + tallest + _UNDER_FIELDS, code_foot)


def _right(width: float, y: float, code_foot: float) -> float:
    return width - SIDE - (CODE_MM + QUIET_MM if y < code_foot else 0.0)


def _draw_field(
    draft: Draft, study: Study, code: SheetCode, field: HeaderField, x: float, top: float
) -> float:
    """Draw one header field's boxes, or the printed site number; returns the height used."""
    groups = box_groups(field.kind, field.boxes)
    if field.kind == "site" and code.sheet != BLANK:
        draft.marks.append(Text(x - 0.6, top + 8.2, code.sheet, 9.6, "bold", pitch_mm=7.2))
        site = study.site(code.sheet)
        if site and site.label:
            label, size = fit_or_cut(site.label, row_width(groups) + 4.0, 3.1, 2.0)
            draft.marks.append(Text(x, top + BOX_HEIGHT + 3.1, label, size))
        return BOX_HEIGHT + _CAPTION_STEP
    middles = draw_boxes(draft, field.name, groups, x, top)
    if field.kind != "date":
        return BOX_HEIGHT
    first, last = study.season.first.year, study.season.last.year
    year = f"year ({first % 100:02d})" if first == last else "year"
    for caption, middle in zip(("day", "month", year), middles, strict=True):
        draft.marks.append(Text(middle, top + BOX_HEIGHT + 3.4, caption, 2.5, align="centre"))
    return BOX_HEIGHT + _CAPTION_STEP
