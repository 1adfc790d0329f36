"""Sheets by the code on a page, and the signs that tell one print from another."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from sheet_reader.errors import UsageError
from sheet_reader.reasons import Code, Reason
from sheet_reader.sheet.book import LayoutBook, same_line, sign_shape, spaced_lines, telling_lines
from sheet_reader.sheet.identity import (
    machine_text,
    parse_machine_text,
    parse_printed_text,
    printed_text,
)
from sheet_reader.sheet.layout import draw_sheet, lay_out
from sheet_reader.sheet.page import BLANK, SheetCode, Text
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study
from sheet_reader.wording import words


def test_every_page_is_found_by_both_its_codes(sample: Study) -> None:
    book = LayoutBook(sample)
    pages = list(book.pages())
    assert len(pages) == len(lay_out(sample).pages) * (1 + len(sample.sites))
    for page in pages:
        for code in (
            parse_machine_text(machine_text(page.code)),
            parse_printed_text(printed_text(page.code)),
        ):
            assert code is not None
            assert book.lookup(code) == page


@pytest.mark.parametrize(
    ("change", "code", "said"),
    [
        ({"study": "rock-pools"}, Code.OTHER_STUDY, "another study (“rock-pools”)"),
        ({"study": "#AAA"}, Code.OTHER_STUDY, "another study, not"),
        ({"layout": "AAAA"}, Code.OLDER_LAYOUT, "another version"),
        ({"sheet": "5724"}, Code.UNKNOWN_SITE, "site 5724"),
        ({"page": 2}, Code.NO_SUCH_PAGE, "page 2"),
    ],
)
def test_mismatch_has_a_reason(
    beans: Study, change: dict[str, object], code: Code, said: str
) -> None:
    book = LayoutBook(beans)
    other = replace(lay_out(beans).pages[0].code, **change)  # type: ignore[arg-type]
    found = book.lookup(other)
    assert isinstance(found, Reason)
    assert found.code is code
    assert said in words([found])


def test_template_is_the_printed_page_and_is_kept(beans: Study) -> None:
    book = LayoutBook(beans)
    page = book.layout().pages[0]
    template = book.template(page, 4.0)
    assert template.shape == (1188, 840)
    assert not template.flags.writeable
    assert book.template(page, 4.0) is template
    site = book.template(book.layout("2043").pages[0], 4.0)
    assert np.any(site != template)


def test_templates_are_bounded(beans: Study) -> None:
    book = LayoutBook(beans)
    page = book.layout().pages[0]
    first = book.template(page, 1.0)
    for step in range(12):
        book.template(page, 1.1 + step / 10)
    again = book.template(page, 1.0)
    assert again is not first
    assert np.array_equal(again, first)


def _labelled(study: Study) -> Study:
    """The study with a long label at its second site."""
    first, second, *rest = study.sites
    long = replace(second, label="Behind the third greenhouse, left of the old compost heap " * 2)
    return replace(study, sites=(first, long, *rest))


def test_sheets_of_other_sites_are_as_they_would_be_drawn(
    sample: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only the first site's sheet is drawn for reading; drawing takes as long as a decode."""
    for study in (sample, _labelled(sample)):
        book = LayoutBook(study)
        first, *others = [site.number for site in study.sites][:5]
        book.layout(first)
        with monkeypatch.context() as patch:
            patch.setattr(LayoutBook, "_drawn", None)
            found = {site: book.layout(site) for site in others}
        for site, layout in found.items():
            drawn = draw_sheet(study, site)
            assert layout.pages == tuple(page.page for page in drawn)
            for page in drawn:
                assert book.spaced_lines(page.page.code) == spaced_lines(page)


def test_a_number_of_another_length_has_a_sheet_of_its_own(beans: Study) -> None:
    short = replace(beans.sites[1], number=beans.sites[1].number[:-1])
    study = replace(beans, sites=(beans.sites[0], short))
    book = LayoutBook(study)
    book.layout(study.sites[0].number)
    assert book.layout(short.number) == LayoutBook(study).layout(short.number)
    with pytest.raises(UsageError, match="5724"):
        book.layout("5724")


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
