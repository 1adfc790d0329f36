"""Set an update as a PDF for the letter box. The accessible form is the HTML page.

Text is set by reportlab; the pictures are laid into their places as vector drawings by pdfium.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from functools import partial
from typing import Any
from xml.sax.saxutils import escape

import pypdfium2 as pdfium
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    HRFlowable,
    KeepTogether,
    ListFlowable,
    ListItem,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
)
from reportlab.platypus import Table as PrintedTable

from sheet_reader.results.update.canvas import Drawing
from sheet_reader.results.update.sections import Content, Section, TextTable
from sheet_reader.sheet.fonts import font_name
from sheet_reader.study.study import Paper

_MARGIN = 48.0
_PAPERS = {"A4": A4, "Letter": LETTER}
_HIGHEST = 600.0
"""Of a picture in points: with heading and caption it fits on a Letter page."""
_SMALLEST = 0.78
"""A picture may shrink to this share of its size where it then still fits on the page."""
_AIR = 10.0
"""Points above and below a drawing together."""
_LEAST_BELOW = 90.0
"""Points that a heading and the beginning of its text need on a page."""
_SHORT = 8
"""Up to so many lines a table stays on one page."""
_ID = re.compile(rb"/ID\[(<[0-9A-F]{32}>)<[0-9A-F]{32}>\]")
"""The identity of a file and of its writing; pdfium draws the second by lot."""
_Placed = list[tuple[int, float, float, float, Drawing]]
"""Page (from 0), left, bottom, scale, drawing."""


def render_pdf(content: Content, paper: Paper = "A4") -> bytes:
    """The update as a PDF; the tables behind the pictures stay in the HTML page. The same content
    gives the same bytes.
    """
    placed: _Placed = []
    size, target = _PAPERS[paper], io.BytesIO()
    document = SimpleDocTemplate(
        target, pagesize=size, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN,
        bottomMargin=_MARGIN, title=content.page_title, lang=content.language,
        # with its own first font, reportlab names one that no text uses, and pdfium drops it
        initialFontName=font_name("plain"), invariant=1,
    )  # fmt: skip
    footer = partial(_footer, content.page_title)
    width = size[0] - 2 * _MARGIN
    document.build(
        list(_story(content, width - 12, placed)), onFirstPage=footer, onLaterPages=footer
    )
    return _with_pictures(target.getvalue(), placed)


def _styles() -> dict[str, ParagraphStyle]:
    def style(name: str, size: float, face: str = "plain", **more: Any) -> ParagraphStyle:
        font = font_name("bold" if face == "bold" else "plain")
        return ParagraphStyle(name, fontName=font, fontSize=size, leading=size * 1.35, **more)

    found = (
        style("title", 20, "bold"),
        style("heading", 13.5, "bold", spaceBefore=14, spaceAfter=3, keepWithNext=1),
        style("strong", 12.5, "bold", spaceAfter=4),
        style("text", 10.5, spaceAfter=4),
        style("fine", 9, textColor=colors.HexColor("#404040"), spaceAfter=3),
        style("cell", 9),
        style("head", 9, "bold"),
    )
    return {each.name: each for each in found}


def _story(content: Content, width: float, placed: _Placed) -> Iterator[Flowable]:
    """Everything in order. All text is escaped: none of it is markup."""
    styles = _styles()
    yield Paragraph(escape(content.title), styles["title"])
    yield Paragraph(escape(content.lead), styles["text"])
    for note in content.notes:
        if note.kind == "list":
            yield _list(note.lines, styles["text"])
        else:
            yield Paragraph(escape(note.lines[0]), styles[note.kind])
    for section in content.sections:
        yield from _section(section, styles, width, placed)
    yield Spacer(1, 12)
    yield HRFlowable(width="100%", color=colors.HexColor("#d9d9d9"))
    for text in (content.remark, content.footer, content.accessible_form):
        yield Paragraph(escape(text), styles["fine"])


def _section(
    section: Section, styles: dict[str, ParagraphStyle], width: float, placed: _Placed
) -> Iterator[Flowable]:
    heading = Paragraph(escape(section.heading), styles["heading"])
    told: list[Flowable] = []  # between the heading and the pictures
    if section.strong:
        told.append(Paragraph(escape(section.strong), styles["strong"]))
    told += [Paragraph(escape(text), styles["text"]) for text in section.texts]
    if section.items:
        told.append(_list(section.items, styles["text"]))
    told += [_table(table, styles, width) for table in section.tables]
    if told:
        heading.keepWithNext = False  # a long text would take it to the next page
        yield CondPageBreak(_LEAST_BELOW)
        yield heading
        yield from told
    for number, picture in enumerate(section.pictures):
        caption = Paragraph(escape(picture.caption), styles["fine"])
        above = [] if told or number else [heading]
        yield _Figure(picture.drawing, above, caption, placed)
    for text in section.fine:
        yield Paragraph(escape(text), styles["fine"])


def _list(lines: tuple[str, ...], style: ParagraphStyle) -> Flowable:
    items = [ListItem(Paragraph(escape(line), style), leftIndent=14) for line in lines]
    return ListFlowable(
        items, bulletType="bullet", start="•", bulletFontSize=9, leftIndent=14,
        bulletFontName=style.fontName,
    )  # fmt: skip


def _table(table: TextTable, styles: dict[str, ParagraphStyle], width: float) -> Flowable:
    """A table over the whole width, text columns twice as wide as numbers."""

    def line(cells: tuple[str, ...], name: str) -> list[Paragraph]:
        right = ParagraphStyle(name, parent=styles[name], alignment=2)
        return [
            Paragraph(escape(cell), styles[name] if n < table.texts else right)
            for n, cell in enumerate(cells)
        ]

    shares = [2 if n < table.texts else 1 for n in range(len(table.header))]
    caption = [Paragraph(escape(table.caption), styles["head"]), *[""] * (len(shares) - 1)]
    printed = PrintedTable(
        [caption, line(table.header, "head"), *(line(row, "cell") for row in table.rows)],
        colWidths=[width * share / sum(shares) for share in shares],
        repeatRows=2,
        style=[
            ("FONTNAME", (0, 0), (-1, -1), font_name("plain")),
            ("SPAN", (0, 0), (-1, 0)),
            ("LINEBELOW", (0, 1), (-1, -1), 0.4, colors.HexColor("#d9d9d9")),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
        ],
        spaceBefore=4, spaceAfter=6, hAlign="LEFT",
    )  # fmt: skip
    return KeepTogether([printed]) if len(table.rows) <= _SHORT else printed


class _Figure(Flowable):  # type: ignore[misc]
    """A drawing between its heading, if any, and its caption. It keeps the place free and notes
    where it is; on what is left of a page it shrinks a little rather than leave that empty.
    """

    def __init__(
        self, drawing: Drawing, above: list[Paragraph], caption: Paragraph, placed: _Placed
    ) -> None:
        super().__init__()
        self.drawing, self.above, self.caption, self.placed = drawing, above, caption, placed
        self.spaceBefore = above[0].style.spaceBefore if above else _AIR

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """The size it takes where ``height`` points are left."""
        around = sum(part.wrap(width, height)[1] for part in (*self.above, self.caption))
        usual = min(1.0, width / self.drawing.width, _HIGHEST / self.drawing.height)
        fits = (height - around - _AIR) / self.drawing.height
        self.scale = min(usual, fits) if fits >= _SMALLEST * usual else usual
        self.width = width
        self.height = around + _AIR + self.drawing.height * self.scale
        return self.width, self.height

    def draw(self) -> None:
        """Set heading and caption, note the place of the drawing."""
        top = self.height
        for part in self.above:
            top -= part.height
            part.drawOn(self.canv, 0, top)
        left, bottom = self.canv.absolutePosition(0, self.caption.height + _AIR / 2)
        page = self.canv.getPageNumber() - 1
        self.placed.append((page, left, bottom, self.scale, self.drawing))
        self.caption.drawOn(self.canv, 0, 0)


def _footer(title: str, canvas: Canvas, document: SimpleDocTemplate) -> None:
    canvas.saveState()
    canvas.setFont(font_name("plain"), 8)
    canvas.setFillColor(colors.HexColor("#595959"))
    canvas.drawString(_MARGIN, _MARGIN / 2, title)
    width = float(document.pagesize[0])
    canvas.drawRightString(width - _MARGIN, _MARGIN / 2, str(canvas.getPageNumber()))
    canvas.restoreState()


def _with_pictures(text: bytes, placed: _Placed) -> bytes:
    """``text`` with every drawing laid into its place."""
    with pdfium.PdfDocument(text) as document:
        for number, left, bottom, scale, drawing in placed:
            with pdfium.PdfDocument(drawing.pdf) as source:
                form = source.page_as_xobject(0, document)
                piece = form.as_pageobject()
            piece.transform(pdfium.PdfMatrix().scale(scale, scale).translate(left, bottom))
            page = document[number]
            page.insert_obj(piece)
            page.gen_content()
            page.close()
        target = io.BytesIO()
        document.save(target)
    return _ID.sub(rb"/ID[\1\1]", target.getvalue())
