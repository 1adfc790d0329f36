"""Many sheets in one PDF: several sites, several copies, one for each visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from reportlab.pdfgen.canvas import Canvas

from sheet_reader.sheet.drawing import Text
from sheet_reader.sheet.drawn_page import DrawnPage
from sheet_reader.sheet.fonts import MM, fit_or_cut
from sheet_reader.sheet.head import CODE_FOOT
from sheet_reader.sheet.identity import CODE_MM, QUIET_MM, SIDE
from sheet_reader.sheet.layout import draw_sheet, layout_version
from sheet_reader.sheet.model import BLANK
from sheet_reader.sheet.pdf import draw_mark, draw_marks, new_canvas
from sheet_reader.sheet.sizes import CAPITAL, HINT, INSTRUCTION
from sheet_reader.study.model import Study

ALL_SITES = "all-sites"
"""Stands for the sheet in the name of a file that holds the sheets of every site."""


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit that a sheet is meant for: its number in the season, from 1, and its day."""

    number: int
    day: date


def render_stack(
    study: Study,
    sheets: Sequence[str],
    name: str,
    copies: int = 1,
    visits: Sequence[Visit] = (),
) -> bytes:
    """The sheets (site numbers or BLANK) one after the other as PDF, with a bookmark at each: of
    each as many ``copies`` as asked for, or as many for every one of ``visits``.

    The visit stands in the corner below the machine code, as a reminder; it is not read.
    """
    drawn = {sheet: draw_sheet(study, sheet) for sheet in sheets}
    first = drawn[sheets[0]][0].page
    title = f"{study.title} {name} {layout_version(study)}"
    canvas, stream = new_canvas(first, title)
    for sheet, pages in drawn.items():
        _keep(canvas, sheet, pages)
        site = study.site(sheet)
        entry = sheet if sheet != BLANK else study.title
        canvas.bookmarkPage(sheet)
        canvas.addOutlineEntry(f"{entry} {site.label}" if site else entry, sheet)
        for visit in visits or (None,):
            for _ in range(copies):
                for page in pages:
                    canvas.doForm(_form(sheet, page))
                    if visit is not None:
                        reminder = visit_mark(study, visit, page.page.width_mm)
                        draw_mark(canvas, reminder, page.page.height_mm)
                    canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _form(sheet: str, page: DrawnPage) -> str:
    return f"{sheet}-{page.page.number}"


def _keep(canvas: Canvas, sheet: str, pages: Sequence[DrawnPage]) -> None:
    """Draw each page once, to be shown as often as it is printed."""
    for page in pages:
        width, height = page.page.width_mm * MM, page.page.height_mm * MM
        canvas.beginForm(_form(sheet, page), 0, 0, width, height)
        draw_marks(canvas, page.marks, page.page.height_mm)
        canvas.endForm()


def visit_mark(study: Study, visit: Visit, width: float) -> Text:
    """Which visit a sheet is meant for, below the machine code of a page of this width."""
    words = study.words
    month = words.months[visit.day.month - 1]
    text = words.visit.format(number=visit.number, day=visit.day.day, month=month)
    text, size = fit_or_cut(text, CODE_MM + QUIET_MM, INSTRUCTION, HINT)
    return Text(width - SIDE, CODE_FOOT + 0.6 + CAPITAL * size, text, size, align="right")
