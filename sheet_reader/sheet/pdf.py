"""Draws pages as a vector PDF, true to size in mm, the same bytes every time: one sheet, or many in
one file for several sites, copies and visits; and turns a page of a PDF into pixels.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sheet_reader.sheet.fonts import (
    CAPITAL,
    HINT,
    INSTRUCTION,
    MM,
    fit_or_cut,
    font_name,
    text_width,
)  # fmt: skip
from sheet_reader.sheet.head import CODE_FOOT
from sheet_reader.sheet.identity import CODE_MM, QUIET_MM, SIDE
from sheet_reader.sheet.layout import draw_sheet, layout_version
from sheet_reader.sheet.page import (
    BLANK,
    Blocks,
    Curve,
    DrawnPage,
    Line,
    Mark,
    Page,
    SheetLayout,
    Text,
)  # fmt: skip
from sheet_reader.study.study import Study

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """A visit that a sheet is meant for: its number in the season, from 1, and its day."""

    number: int
    day: date


def render_pdf(layout: SheetLayout, study: Study) -> bytes:
    """The sheet as PDF (one page for each page of the layout).

    Raises ValueError where ``layout`` was not laid out from ``study``.
    """
    known = layout.sheet == BLANK or study.site(layout.sheet) is not None
    drawn = draw_sheet(study, layout.sheet) if known else ()
    if not known or tuple(page.page for page in drawn) != layout.pages:
        raise ValueError("this layout was made from another study")
    return pdf_of(drawn, f"{study.title} {layout.sheet} {layout.version}")


def pdf_of(pages: Sequence[DrawnPage], title: str) -> bytes:
    """A PDF of these pages, which are all of one size."""
    canvas, stream = _new_canvas(pages[0].page, title)
    for page in pages:
        draw_marks(canvas, page.marks, page.page.height_mm)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _new_canvas(page: Page, title: str) -> tuple[Canvas, io.BytesIO]:
    """An empty PDF with pages as large as ``page``, and where its bytes will be once saved."""
    stream = io.BytesIO()
    size = (page.width_mm * MM, page.height_mm * MM)
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(stream, pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setAuthor("")
    canvas.setCreator("sheet_reader")
    return canvas, stream


def render_marks(marks: Iterable[Mark], width_mm: float, height_mm: float) -> bytes:
    """A PDF of one page of this size with these marks alone."""
    from reportlab.pdfgen.canvas import Canvas

    stream = io.BytesIO()
    canvas = Canvas(stream, pagesize=(width_mm * MM, height_mm * MM), invariant=1)
    draw_marks(canvas, marks, height_mm)
    canvas.showPage()
    canvas.save()
    return stream.getvalue()


def draw_marks(canvas: Canvas, marks: Iterable[Mark], height: float) -> None:
    """Draw these marks on a page of this height in mm."""
    canvas.setFillGray(0)
    canvas.setStrokeGray(0)
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    for mark in marks:
        draw_mark(canvas, mark, height)


def draw_mark(canvas: Canvas, mark: Mark, height: float) -> None:
    """Draw one mark on a page of this height in mm."""
    if isinstance(mark, Text):
        _text(canvas, mark, height)
    elif isinstance(mark, Blocks):
        path = canvas.beginPath()
        for x, y, width, tall in mark.rectangles:
            path.rect(x * MM, (height - y - tall) * MM, width * MM, tall * MM)
        canvas.drawPath(path, stroke=0, fill=1)
    else:
        canvas.setLineWidth(mark.width_mm * MM)
        path = canvas.beginPath()
        points = [(x * MM, (height - y) * MM) for x, y in mark.points]
        path.moveTo(*points[0])
        if isinstance(mark, Line):
            for point in points[1:]:
                path.lineTo(*point)
        elif isinstance(mark, Curve):
            for a, b, c in zip(points[1::3], points[2::3], points[3::3], strict=True):
                path.curveTo(*a, *b, *c)
        canvas.drawPath(path, stroke=1, fill=0)


def _text(canvas: Canvas, mark: Text, height: float) -> None:
    canvas.setFont(font_name(mark.face), mark.size_mm * MM)
    x, y = mark.x * MM, (height - mark.y) * MM
    if mark.pitch_mm:
        for place, sign in enumerate(mark.text):
            canvas.drawCentredString(x + (place + 0.5) * mark.pitch_mm * MM, y, sign)
        return
    width = text_width(mark.text, mark.size_mm, mark.face) * MM
    shift = {"left": 0.0, "centre": width / 2, "right": width}[mark.align]
    canvas.drawString(x - shift, y, mark.text)


def render_stack(
    study: Study,
    sheets: Sequence[str],
    name: str,
    copies: int = 1,
    visits: Sequence[PlannedVisit] = (),
) -> bytes:
    """The sheets (site numbers or BLANK) one after the other as PDF, with a bookmark at each: of
    each as many ``copies`` as asked for, or as many for every one of ``visits``.

    The visit stands in the corner below the machine code, as a reminder; it is not read.
    """
    first = draw_sheet(study, sheets[0])[0].page
    width, height = first.width_mm, first.height_mm
    canvas, stream = _new_canvas(first, f"{study.title} {name} {layout_version(study)}")
    for sheet in dict.fromkeys(sheets):
        pages = {f"{sheet}-{page.page.number}": page for page in draw_sheet(study, sheet)}
        for form, page in pages.items():  # drawn once, and shown as often as it is printed
            canvas.beginForm(form, 0, 0, width * MM, height * MM)
            draw_marks(canvas, page.marks, height)
            canvas.endForm()
        site = study.site(sheet)
        entry = sheet if sheet != BLANK else study.title
        canvas.bookmarkPage(sheet)
        canvas.addOutlineEntry(f"{entry} {site.label}" if site else entry, sheet)
        for visit in visits or (None,):
            for _ in range(copies):
                for form in pages:
                    canvas.doForm(form)
                    if visit is not None:
                        draw_mark(canvas, visit_mark(study, visit, width), height)
                    canvas.showPage()
    canvas.save()
    return stream.getvalue()


def visit_mark(study: Study, visit: PlannedVisit, width: float) -> Text:
    """Which visit a sheet is meant for, below the machine code of a page of this width."""
    words = study.words
    month = words.months[visit.day.month - 1]
    text = words.visit.format(number=visit.number, day=visit.day.day, month=month)
    text, size = fit_or_cut(text, CODE_MM + QUIET_MM, INSTRUCTION, HINT)
    return Text(width - SIDE, CODE_FOOT + 0.6 + CAPITAL * size, text, size, align="right")


def rasterise(pdf: bytes, page: int, px_per_mm: float) -> NDArray[np.uint8]:
    """Page ``page`` (from 1) as uint8 (H, W), 0 black, 255 white, anti-aliased.

    The page fills the picture exactly: W is its width in mm times ``px_per_mm``, rounded, and the
    centre of pixel (row r, column c) lies at ((c + 0.5) / W, (r + 0.5) / H) of the page.
    """
    import pypdfium2 as pdfium  # slow to load, and for templates alone

    document = pdfium.PdfDocument(pdf)
    try:
        sheet = document[page - 1]
        width_pt, height_pt = sheet.get_size()
        width = max(1, round(width_pt * 25.4 / 72 * px_per_mm))
        height = max(1, round(height_pt * 25.4 / 72 * px_per_mm))
        bitmap = pdfium.PdfBitmap.new_native(width, height, pdfium.raw.FPDFBitmap_Gray)
        bitmap.fill_rect((255, 255, 255, 255), 0, 0, width, height)
        pdfium.raw.FPDF_RenderPageBitmap(
            bitmap, sheet, 0, 0, width, height, 0, pdfium.raw.FPDF_GRAYSCALE
        )
        return np.array(bitmap.to_numpy()[:, :width].reshape(height, width), dtype=np.uint8)
    finally:
        document.close()
