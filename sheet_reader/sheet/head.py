"""The head of a page: title, the two codes and the header fields."""

from __future__ import annotations

from functools import cache

from reportlab.graphics.barcode.qr import QrCodeWidget

from sheet_reader.sheet.codes import machine_text, printed_text
from sheet_reader.sheet.draft import BOX_HEIGHT, Draft, box_groups, draw_boxes, row_width
from sheet_reader.sheet.drawing import Blocks, Text
from sheet_reader.sheet.fonts import fit, text_width
from sheet_reader.sheet.markers import EDGE_MM, MARKER_MM
from sheet_reader.sheet.model import BLANK, SheetCode
from sheet_reader.study.model import HeaderField, Study

CODE_MM = 23.2
"""Side of the machine code: 29 modules of 0.8 mm."""
CODE_TOP = 24.0
QUIET_MM = 3.2
SIDE = EDGE_MM + MARKER_MM + 2.0
"""Width of the margins that belong to the markers."""
_FIELDS_TOP = 24.0
_LABEL_STEP = 6.0
_CAPTION_STEP = 3.6
_FIELD_GAP = 5.0
_PARTS = {"day": "day", "month": "month", "year": "year"}

Box = tuple[float, float, float, float]


@cache
def code_modules(text: str) -> tuple[tuple[bool, ...], ...]:
    """The modules of the machine code (ISO/IEC 18004, version 3, correction level Q)."""
    code = QrCodeWidget(text, barLevel="Q", qrVersion=3).qr
    code.make()
    return tuple(tuple(bool(module) for module in row) for row in code.modules)


def draw_codes(draft: Draft, code: SheetCode, width: float, height: float) -> tuple[Box, Box]:
    """Draw the machine code (top right) and the printed code (foot, left); returns their boxes."""
    modules = code_modules(machine_text(code))
    side = CODE_MM / len(modules)
    left = width - SIDE - CODE_MM
    black = tuple(
        (round(left + c * side, 4), round(CODE_TOP + r * side, 4), side, side)
        for r, row in enumerate(modules)
        for c, dark in enumerate(row)
        if dark
    )
    draft.marks.append(Blocks(black))
    text = printed_text(code)
    size, pitch = 4.6, 3.35
    x, baseline = SIDE + 1.0, height - EDGE_MM - 1.2
    draft.marks.append(Text(x, baseline, text, size, "bold", pitch_mm=pitch))
    printed = (x, baseline - size * 0.8, pitch * len(text), size)
    return (
        (round(left, 3), CODE_TOP, CODE_MM, CODE_MM),
        (round(printed[0], 3), round(printed[1], 3), round(printed[2], 3), round(printed[3], 3)),
    )


def draw_title(draft: Draft, study: Study, code: SheetCode, of: int, width: float) -> None:
    """Draw the title between the markers at the top edge."""
    middle = width / 2
    room = middle - MARKER_MM / 2 - 2.5 - SIDE
    size = fit(study.title, room, 6.0, 2.6, "bold")
    draft.marks.append(Text(SIDE, EDGE_MM + 5.2, study.title, size, "bold"))
    draft.marks.append(
        Text(SIDE, EDGE_MM + 9.8, "One sheet for each visit. Black or blue pen.", 2.9)
    )
    right = width - SIDE
    if of > 1:
        page = f"Page {code.page} of {of}"
        draft.marks.append(Text(right, EDGE_MM + 5.2, page, 4.2, "bold", "right"))


def head_fields(study: Study, page: int) -> tuple[HeaderField, ...]:
    """The header fields of a page: all on the first, site and date on every other."""
    if page == 1:
        return study.header
    return tuple(f for f in study.header if f.kind != "number")


def draw_fields(draft: Draft, study: Study, code: SheetCode, width: float) -> float | None:
    """Draw the header fields beside the machine code; returns where the head ends (mm from the
    top), or None where a field is too wide for the page.
    """
    right = width - SIDE - CODE_MM - QUIET_MM - 1.0
    x, y, tallest = SIDE, _FIELDS_TOP, 0.0
    for field in head_fields(study, code.page):
        printed = field.kind == "site" and code.sheet != BLANK
        groups = box_groups(field.kind, field.boxes)
        need = max(row_width(groups), text_width(field.label, 3.15, "bold"))
        if x > SIDE and x + need > right:
            x, y, tallest = SIDE, y + tallest + 2.5, 0.0
        if x + need > right:
            return None
        draft.marks.append(Text(x, y + 2.4, field.label, 3.15, "bold"))
        top = y + _LABEL_STEP - 1.2
        if printed:
            _printed_site(draft, study, code.sheet, x, top, need)
            used = BOX_HEIGHT + _CAPTION_STEP
        else:
            middles = draw_boxes(draft, field.name, groups, x, top)
            used = BOX_HEIGHT
            for (part, _), middle in zip(groups, middles, strict=True):
                if part:
                    draft.marks.append(
                        Text(middle, top + BOX_HEIGHT + 3.6, _PARTS[part], 2.4, align="centre")
                    )
                    used = BOX_HEIGHT + _CAPTION_STEP
        tallest = max(tallest, _LABEL_STEP - 1.2 + used)
        x += need + _FIELD_GAP
    return max(y + tallest, CODE_TOP + CODE_MM + 0.5)


def _printed_site(
    draft: Draft, study: Study, number: str, x: float, top: float, width: float
) -> None:
    draft.marks.append(Text(x, top + 7.0, number, 8.6, "bold", pitch_mm=7.0))
    site = study.site(number)
    if site is None:
        return
    size = fit(site.label, width, 3.1, 1.6)
    if size:
        draft.marks.append(Text(x, top + BOX_HEIGHT + 2.6, site.label, size))
