"""Draws the pages as a vector PDF, true to size in mm, the same bytes every time."""

from __future__ import annotations

import io
from collections.abc import Iterable

from reportlab.pdfgen.canvas import Canvas

from sheet_reader.sheet.drawing import Blocks, Curve, Line, Mark, Text
from sheet_reader.sheet.fonts import MM, font_name, text_width
from sheet_reader.sheet.layout import draw_sheet
from sheet_reader.sheet.model import BLANK, Page, SheetLayout
from sheet_reader.study.model import Study


def render_pdf(layout: SheetLayout, study: Study) -> bytes:
    """The sheet as PDF (one page for each page of the layout).

    Raises ValueError where ``layout`` was not laid out from ``study``.
    """
    known = layout.sheet == BLANK or study.site(layout.sheet) is not None
    drawn = draw_sheet(study, layout.sheet) if known else ()
    if not known or tuple(page.page for page in drawn) != layout.pages:
        raise ValueError("this layout was made from another study")
    canvas, stream = new_canvas(layout.pages[0], f"{study.title} {layout.sheet} {layout.version}")
    for page in drawn:
        draw_marks(canvas, page.marks, page.page.height_mm)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def new_canvas(page: Page, title: str) -> tuple[Canvas, io.BytesIO]:
    """An empty PDF with pages as large as ``page``, and where its bytes will be once saved."""
    stream = io.BytesIO()
    size = (page.width_mm * MM, page.height_mm * MM)
    canvas = Canvas(stream, pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setAuthor("")
    canvas.setCreator("sheet_reader")
    return canvas, stream


def render_marks(marks: Iterable[Mark], width_mm: float, height_mm: float) -> bytes:
    """A PDF of one page of this size with these marks alone."""
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
