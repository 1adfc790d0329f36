"""Photographs of a study's sheets, made up whole: visit, print, handwriting, picture."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.model import BLANK, Page
from sheet_reader.simulate.fill import fill_page
from sheet_reader.simulate.habits import HABITS, Habits
from sheet_reader.simulate.levels import LEVELS, Level
from sheet_reader.simulate.parameters import SIMULATE
from sheet_reader.simulate.photo import FilledSheet, Photo, photograph
from sheet_reader.simulate.printer import PAPER_MM, print_page
from sheet_reader.simulate.scan import scan
from sheet_reader.simulate.sources import Hands
from sheet_reader.simulate.truth import SheetTruth
from sheet_reader.simulate.values import Visit, random_visit

PRINT_PX_PER_MM = SIMULATE.print_px_per_mm
_BLANK_SHARE = SIMULATE.blank_share
_OTHER_PAPER_SHARE = SIMULATE.other_paper_share


@dataclass(frozen=True, slots=True)
class Request:
    """One photograph to make: ``page`` from 1, ``visit`` and whether it is on the blank."""

    visit: Visit
    page: int
    on_blank: bool


def filled_sheet(
    book: LayoutBook, page: Page, visit: Visit, hands: Hands, level: Level, habits: Habits,
    rng: np.random.Generator,
) -> FilledSheet:  # fmt: skip
    """Print ``page`` and write ``visit`` on it."""
    other = PAPER_MM["A4" if book.study.paper == "Letter" else "Letter"]
    paper_mm = other if rng.random() < _OTHER_PAPER_SHARE else PAPER_MM[book.study.paper]
    template = book.template(page, PRINT_PX_PER_MM)
    paper = print_page(template, PRINT_PX_PER_MM, level, rng, paper_mm)
    fields, cells, person = fill_page(paper, page, visit, hands, habits, rng)
    written = {f.field: f.value for f in fields}
    names = {h.kind: h.name for h in book.study.header}
    site = written.get(names["site"], visit.site)
    day = written.get(names["date"], visit.visit_date)
    truth = SheetTruth(
        page.code, site, day, fields, cells, wrong_sums=visit.wrong_sums, person=person
    )
    return FilledSheet(paper, page, truth)


def random_request(book: LayoutBook, seed: int) -> Request:
    """A visit and one of its pages, on the blank or the site's own sheet."""
    rng = np.random.default_rng([seed, 11])
    visit = random_visit(book.study, rng)
    on_blank = rng.random() < _BLANK_SHARE
    pages = len(book.layout(BLANK).pages)
    return Request(visit, 1 + int(rng.integers(pages)), on_blank)


def photo_of(
    book: LayoutBook, hands: Hands, level_name: str, seed: int, request: Request | None = None,
    long_side: int | None = None,
) -> Photo:  # fmt: skip
    """One photograph of one page; the same arguments give the same file. Its ``long_side`` in px
    is one of the level's if not given.
    """
    request = request or random_request(book, seed)
    level = LEVELS[level_name]
    if long_side is not None:
        level = replace(level, long_side_px=(long_side,))
    rng = np.random.default_rng([seed, 22])
    layout = book.layout(BLANK if request.on_blank else request.visit.site)
    sheet = filled_sheet(
        book, layout.pages[request.page - 1], request.visit, hands, level, HABITS[level_name], rng
    )
    return photograph([sheet], level, seed)


def scan_of(book: LayoutBook, hands: Hands, seed: int) -> Photo:
    """One flatbed scan of one page, filled in as typical."""
    request = random_request(book, seed)
    layout = book.layout(BLANK if request.on_blank else request.visit.site)
    rng = np.random.default_rng([seed, 22])
    sheet = filled_sheet(
        book, layout.pages[request.page - 1], request.visit, hands, LEVELS["typical"],
        HABITS["typical"], rng,
    )  # fmt: skip
    return scan(sheet, seed)
