"""Counts stand in the same place on every sheet of a layout, whatever site is printed on it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import Page
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Site, Study

SAMPLES = Path(__file__).parents[2] / "samples"


def places(page: Page) -> dict[tuple[str, int], object]:
    return {(c.field, c.index): c.box_mm for c in page.cells if "." in c.field}


@pytest.mark.parametrize("sample", ["bean_tips", "rock_pools"])
def test_a_sites_sheet_has_its_counts_where_the_blank_has_them(sample: str) -> None:
    study: Study = read_study(SAMPLES / sample)
    number = study.sites[0].number
    wordy = Site(number, "Behind the long wall of the old brickfield, third row from the gate", "")
    book = LayoutBook(replace(study, sites=(wordy, *study.sites[1:])))
    for site in (number, study.sites[1].number):
        for on_blank, on_site in zip(book.layout().pages, book.layout(site).pages, strict=True):
            assert places(on_blank) == places(on_site)
            assert places(on_blank)
