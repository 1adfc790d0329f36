"""Sheets printed from the first edition: mark for mark as they were, and found by their codes.

``tests/sheet/first_edition`` holds what that edition printed when it was the present one: the
blanks as PDF and geometry, and a SHA-256 of all marks of every sheet of both samples.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sheet_reader.errors import StudyError
from sheet_reader.sheet.book import LayoutBook, Mismatch
from sheet_reader.sheet.first_edition.layout import draw_sheet, layout_version
from sheet_reader.sheet.geometry import geometry
from sheet_reader.sheet.model import BLANK, SheetLayout
from sheet_reader.sheet.pdf import render_pdf
from sheet_reader.sheet.raster import rasterise
from sheet_reader.study.model import Study
from sheet_reader.study.words import shipped_words

FOLDER = Path(__file__).parent / "first_edition"
DRAWN = json.loads((FOLDER / "drawn.json").read_text(encoding="utf-8"))


def _kept(study: Study) -> SheetLayout:
    pages = tuple(drawn.page for drawn in draw_sheet(study))
    return SheetLayout(study.key, pages[0].code.layout, BLANK, pages)


def test_every_sheet_has_the_marks_it_had(sample: Study) -> None:
    kept = DRAWN[sample.key.replace("-", "_")]
    assert layout_version(sample) == kept["version"]
    for sheet, expected in kept["sheets"].items():
        marks = [drawn.marks for drawn in draw_sheet(sample, sheet)]
        assert hashlib.sha256(repr(marks).encode()).hexdigest() == expected, sheet


def test_geometry_is_that_of_the_old_blank(sample: Study) -> None:
    text = (FOLDER / f"{sample.key}-blank.geometry.json").read_text(encoding="utf-8")
    assert geometry(_kept(sample)) == json.loads(text)


def test_print_is_that_of_the_old_blank(sample: Study) -> None:
    old = (FOLDER / f"{sample.key}-blank.pdf").read_bytes()
    layout = _kept(sample)
    now = render_pdf(layout, sample)
    for page in layout.pages:
        a, b = rasterise(now, page.number, 8.0), rasterise(old, page.number, 8.0)
        assert np.array_equal(a, b)


def test_what_only_later_editions_print_changes_nothing(sample: Study) -> None:
    changed = replace(
        sample,
        send_to="",
        own_digits=True,
        words=shipped_words("es"),
        counts=tuple(replace(count, tally=False) for count in sample.counts),
    )
    assert draw_sheet(changed) == draw_sheet(sample)


def test_the_book_finds_the_pages_of_both_editions(sample: Study) -> None:
    book = LayoutBook(sample)
    assert len(book.versions) == 2
    assert book.version == book.versions[0] != layout_version(sample)
    for sheet in (BLANK, sample.roster[0].number):
        for drawn in draw_sheet(sample, sheet):
            assert book.lookup(drawn.page.code) == drawn.page
            template = book.template(drawn.page, 2.0)
            present = book.template(book.layout(sheet).pages[drawn.page.number - 1], 2.0)
            assert template.shape == present.shape
            assert np.any(template != present)


def test_an_edition_that_can_not_hold_the_study_is_left_out(beans: Study) -> None:
    # the first edition has no second line for a long title
    study = replace(beans, title="MOTHS, WASPS AND WORMS OF MEADOW, HEDGE AND ORCHARD GROUND")
    with pytest.raises(StudyError):
        draw_sheet(study)
    book = LayoutBook(study)
    assert len(book.versions) == 1
    found = book.lookup(replace(book.layout().pages[0].code, layout="AAAA"))
    assert isinstance(found, Mismatch)
    assert found.kind == "older layout"


@pytest.mark.parametrize("version", [0, 1])
def test_layouts_of_both_editions_are_drawn(beans: Study, version: int) -> None:
    book = LayoutBook(beans)
    layout = book.layout(version=book.versions[version])
    assert render_pdf(layout, beans).startswith(b"%PDF")
