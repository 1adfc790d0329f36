"""The signs that tell one sheet's print from another's: their places on the page, their shapes."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.codes import printed_text
from sheet_reader.sheet.drawing import Face, Text
from sheet_reader.sheet.identity import code_line
from sheet_reader.sheet.model import BLANK, Page, SheetCode
from sheet_reader.sheet.pdf import render_marks
from sheet_reader.sheet.raster import rasterise


def telling_lines(book: LayoutBook, page: Page) -> tuple[Text, ...]:
    """The lines of the page that name its sheet: the printed code and, on a site's first page,
    the site number in the head. Each sign of them stands in a place of its own.
    """
    names = {printed_text(page.code)} | ({page.code.sheet} - {BLANK})
    return tuple(line for line in book.spaced_lines(page.code) if line.text in names)


def same_line(line: Text, page: Page, code: SheetCode) -> Text | None:
    """The ``line`` of ``page`` as the sheet with this ``code`` prints it; None if it does not."""
    if line.text == page.code.sheet:
        return None if code.sheet == BLANK else replace(line, text=code.sheet)
    return code_line(code, page.width_mm, page.height_mm)


@lru_cache(maxsize=512)
def sign_shape(
    sign: str, size_mm: float, face: Face, pitch_mm: float, px_per_mm: float
) -> NDArray[np.uint8]:
    """One sign in its place, uint8 (H, W): as wide as the pitch, from the baseline up to 0.8 of
    the font's size, with a tenth of the size above and below.
    """
    line = Text(0.0, size_mm * 0.9, sign, size_mm, face, pitch_mm=pitch_mm)
    shape = rasterise(render_marks((line,), pitch_mm, size_mm), 1, px_per_mm)
    shape.setflags(write=False)
    return shape
