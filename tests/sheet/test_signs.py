"""The signs that tell one sheet's print from another's."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.codes import printed_text
from sheet_reader.sheet.drawing import Text
from sheet_reader.sheet.model import BLANK, SheetCode
from sheet_reader.sheet.signs import same_line, sign_shape, telling_lines
from sheet_reader.study.reader import read_study

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
SCALE = 10.0


@pytest.fixture(scope="module")
def books() -> list[LayoutBook]:
    return [LayoutBook(read_study(SAMPLES / name)) for name in ("bean_tips", "rock_pools")]


def test_a_sites_page_names_itself_twice_and_a_blank_one_once(books: list[LayoutBook]) -> None:
    for book in books:
        site = book.study.sites[0].number
        for sheet, more in ((site, [site]), (BLANK, [])):
            for page in book.layout(sheet).pages:
                texts = [line.text for line in telling_lines(book, page)]
                assert sorted(texts) == sorted([printed_text(page.code), *more])


def test_every_sheet_prints_the_lines_that_are_foretold(books: list[LayoutBook]) -> None:
    for book in books:
        page = book.layout(book.study.sites[0].number).pages[0]
        for site in (BLANK, *(s.number for s in book.study.sites)):
            other = book.layout(site).pages[0]
            code = SheetCode(book.study.key, book.version, site, 1)
            foretold = [same_line(line, page, code) for line in telling_lines(book, page)]
            there = telling_lines(book, other)
            assert {line for line in foretold if line is not None} == set(there)


def likeness(raster: np.ndarray, line: Text, at: int) -> float:
    """Correlation of the drawn page with the sign that should stand there, to a pixel."""
    shape = sign_shape(line.text[at], line.size_mm, line.face, line.pitch_mm, SCALE)
    x = round((line.x + at * line.pitch_mm) * SCALE)
    y = round((line.y - 0.9 * line.size_mm) * SCALE)
    there = raster[y - 2 : y + shape.shape[0] + 2, x - 2 : x + shape.shape[1] + 2]
    return float(cv2.matchTemplate(there, shape, cv2.TM_CCOEFF_NORMED).max())


def test_a_sign_looks_as_the_page_prints_it(books: list[LayoutBook]) -> None:
    for book in books:
        page = book.layout(book.study.sites[3].number).pages[0]
        raster = book.template(page, SCALE)
        for line in telling_lines(book, page):
            for at, sign in enumerate(line.text):
                if sign != "-":
                    assert likeness(raster, line, at) > 0.97, (line.text, sign)
