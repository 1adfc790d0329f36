"""A page that checks printer and paper: a ruler, and one of each element of a sheet.

It has a page code of its own (``PROOF`` in place of the layout version), so that no photograph of
it is taken for a sheet, and known geometry, so that one can be measured.
"""

from __future__ import annotations

import contextlib

from sheet_reader.sheet.draft import (
    BOX_HEIGHT,
    Draft,
    draw_area,
    draw_boxes,
    draw_cell,
    model_digit,
)  # fmt: skip
from sheet_reader.sheet.fonts import (
    HAIRLINE,
    HINT,
    INSTRUCTION,
    LABEL,
    POINT,
    RULE,
    TITLE,
    TooWideError,
    fit_or_cut,
    wrap_even,
)
from sheet_reader.sheet.head import title_room
from sheet_reader.sheet.identity import (
    EDGE_MM,
    PAPER_MM,
    PROOF,
    SIDE,
    draw_codes,
    marker_mark,
    place_markers,
)
from sheet_reader.sheet.page import (
    BLANK,
    Blocks,
    Cell,
    DrawnPage,
    Line,
    Page,
    SheetCode,
    Text,
)
from sheet_reader.sheet.panel import OWN_BOX
from sheet_reader.sheet.pdf import pdf_of
from sheet_reader.study.study import Study
from sheet_reader.study.words import SheetWords

RULER_MM = 100
FIELD = "proof"
"""The name of the boxes on the page."""
_STEP = 4.6


def draw_proof(study: Study) -> DrawnPage:
    """The page, on the study's paper and with the markers of the study's first page."""
    width, height = PAPER_MM[study.paper]
    code = SheetCode(study.key, PROOF, BLANK, 1)
    markers = place_markers(study.key, 1, width, height)
    draft = Draft()
    draft.marks.extend(marker_mark(marker) for marker in markers)
    code_box, printed_box = draw_codes(draft.marks, code, width, height)
    words = study.words
    title, size = fit_or_cut(words.print_check, title_room(width), TITLE, LABEL, "bold")
    draft.marks.append(Text(SIDE, EDGE_MM + 5.6, title, size, "bold"))
    line, size = fit_or_cut(words.no_sheet, title_room(width), INSTRUCTION, HINT)
    draft.marks.append(Text(SIDE, EDGE_MM + 10.2, line, size))
    base = 44.0
    for text in (words.check_print, words.check_scales, words.check_seen):
        base = _paragraph(draft, text, (SIDE, base), width - SIDE, LABEL)
    _rulers(draft, SIDE + 2.0, 70.0)
    _elements(draft, words, SIDE + 26.0, 96.0, width - SIDE)
    page = Page(
        code, 1, width, height, markers, tuple(draft.cells), code_box, printed_box,
        tuple(draft.areas),
    )  # fmt: skip
    return DrawnPage(page, tuple(draft.marks))


def _rulers(draft: Draft, x: float, y: float) -> None:
    """Two scales of 100 mm from the corner at (x, y): to the right and down."""
    draft.marks.append(Line(((x, y), (x + RULER_MM, y)), 0.25))
    draft.marks.append(Line(((x, y), (x, y + RULER_MM)), 0.25))
    for mm in range(0, RULER_MM + 1, 5):
        long = 4.0 if mm % 10 == 0 else 2.0
        draft.marks.append(Line(((x + mm, y), (x + mm, y + long)), 0.25))
        draft.marks.append(Line(((x, y + mm), (x + long, y + mm)), 0.25))
        if mm % 20 == 0 and mm:
            draft.marks.append(Text(x + mm, y + 8.0, str(mm), INSTRUCTION, align="centre"))
            draft.marks.append(Text(x + 5.4, y + mm + 1.1, str(mm), INSTRUCTION))


def _elements(draft: Draft, words: SheetWords, x: float, y: float, right: float) -> None:
    """Boxes, model digits, writing space, lines, a solid field and the sizes of print, between
    ``x`` and ``right``.
    """
    middles = draw_boxes(draft, FIELD, (("", 3), ("", 3)), x, y)
    below = y + BOX_HEIGHT + 5.0
    draft.marks.append(Text(middles[0], below, words.boxes, HINT, "italic", "centre"))
    y += BOX_HEIGHT + 12.0
    for place in range(10):
        left = x + place * 8.6
        draft.marks.extend(model_digit(str(place), left + 1.2, y, 5.6, 0.42))
        draw_cell(draft, Cell(FIELD, 6 + place, (round(left, 3), y + 7.3, *OWN_BOX)))
    y += 24.0
    draw_area(draft, "tally", (x, y, 40.0, 12.0), FIELD)
    draft.marks.append(Text(x + 1.0, y + 3.2, words.tally, HINT, "italic"))
    draft.marks.append(Blocks(((x + 46.0, y, 12.0, 12.0),)))
    lines = ((HAIRLINE, words.hairline), (0.25, words.frame), (RULE, words.rule))
    for number, (line, name) in enumerate(lines):
        level = y + 2.0 + number * 4.5
        draft.marks.append(Line(((x + 62.0, level), (x + 84.0, level)), line))
        draft.marks.append(Text(x + 87.0, level + 1.0, name, HINT, "italic"))
    y += 24.0
    for size, text in (
        (HINT, words.smallest_print),
        (INSTRUCTION, words.instruction_print),
        (LABEL, words.label_print),
    ):
        text = text.format(size=round(size / POINT))
        y = _paragraph(draft, text, (x, y), right, size) + 1.4


def _paragraph(
    draft: Draft, text: str, at: tuple[float, float], right: float, size: float
) -> float:
    """Write the text from ``at`` to the ``right``, beyond it where a word is too wide; returns
    where the next line stands.
    """
    x, y = at
    lines = [text]
    with contextlib.suppress(TooWideError):
        lines = wrap_even(text, right - x, size)
    draft.marks.extend(Text(x, y + n * _STEP, line, size) for n, line in enumerate(lines))
    return y + len(lines) * _STEP


def render_proof(study: Study, copies: int = 1) -> bytes:
    """The page as PDF, as often as there are ``copies``."""
    return pdf_of([draw_proof(study)] * copies, f"{study.title} print check")
