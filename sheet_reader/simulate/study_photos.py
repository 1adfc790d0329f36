"""Photographs of a study's sheets, made up whole: visit, print, handwriting, picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sheet_reader.numbers import SIMULATE
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import BLANK, Page
from sheet_reader.simulate.fill import fill_page
from sheet_reader.simulate.habits import HABITS, TYPICAL, Habits
from sheet_reader.simulate.levels import LEVELS, Level
from sheet_reader.simulate.photo import FilledSheet, Photo, photograph
from sheet_reader.simulate.printer import PAPER_MM, Paper, print_page
from sheet_reader.simulate.scan import scan
from sheet_reader.simulate.sources import Hands
from sheet_reader.simulate.spoil import FoldLine, let_through, shade_fold
from sheet_reader.simulate.troubles import NONE, UNTROUBLED, SheetTroubles, Troubles
from sheet_reader.simulate.truth import SheetTruth
from sheet_reader.simulate.values import Visit, random_visit

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
    rng: np.random.Generator, suffers: SheetTroubles = UNTROUBLED,
    trouble: np.random.Generator | None = None,
) -> FilledSheet:  # fmt: skip
    """Print ``page`` and write ``visit`` on it. What the sheet ``suffers`` draws from ``trouble``
    only: without troubles the sheet is the same.
    """
    other = PAPER_MM["A4" if book.study.paper == "Letter" else "Letter"]
    paper_mm = other if rng.random() < _OTHER_PAPER_SHARE else PAPER_MM[book.study.paper]
    scale = level.print_px_per_mm
    template = book.template(page, scale)
    paper = print_page(template, scale, level, rng, paper_mm)
    fields, cells, person = fill_page(paper, page, visit, hands, habits, rng, suffers)
    folds: tuple[FoldLine, ...] = ()
    if trouble is not None:
        folds = _spoilt(book, page, paper, hands, level, suffers, trouble)
    written = {f.field: f.value for f in fields}
    site_name, date_name = book.study.keys
    site = written.get(site_name, visit.site)
    day = written.get(date_name, visit.visit_date)
    truth = SheetTruth(
        page.code, site, day, fields, cells, wrong_sums=visit.wrong_sums, person=person
    )
    return FilledSheet(paper, page, truth, folds)


def _spoilt(
    book: LayoutBook, page: Page, paper: Paper, hands: Hands, level: Level,
    suffers: SheetTroubles, rng: np.random.Generator,
) -> tuple[FoldLine, ...]:  # fmt: skip
    """Let the page behind show through ``paper`` and shade its fold, in place; the folds."""
    if suffers.behind is not None:
        pages = book.layout(page.code.sheet, page.code.layout).pages
        other = pages[page.number % len(pages)]
        template = book.template(other, paper.px_per_mm)
        back = print_page(template, paper.px_per_mm, level, rng, paper.size_mm)
        fill_page(back, other, random_visit(book.study, rng), hands, TYPICAL, rng)
        let_through(paper, back.bgr, suffers.behind, rng)
    if suffers.fold is None:
        return ()
    cell = page.cells[int(rng.integers(len(page.cells)))]
    x, y, width, height = cell.box_mm
    place = paper.place(np.array([[x, y]]) + rng.uniform(0.2, 0.8, 2) * np.array([width, height]))
    upright = bool(rng.random() < 0.4)
    angle = float(np.radians(rng.uniform(1.0, 4.0)) * rng.choice([-1, 1]))
    line = FoldLine(float(place[0][0 if upright else 1]), upright, angle)
    shade_fold(paper, line, *suffers.fold, rng)
    return (line,)


def random_request(book: LayoutBook, seed: int, troubles: Troubles = NONE) -> Request:
    """A visit and one of its pages, on the blank or the site's own sheet."""
    rng = np.random.default_rng([seed, 11])
    visit = random_visit(book.study, rng, wrong_sums=troubles.wrong_sum)
    on_blank = rng.random() < _BLANK_SHARE
    pages = len(book.layout(BLANK).pages)
    return Request(visit, 1 + int(rng.integers(pages)), on_blank)


def photo_of(
    book: LayoutBook, hands: Hands, level_name: str, seed: int, request: Request | None = None,
    long_side: int | None = None, troubles: Troubles = NONE,
) -> Photo:  # fmt: skip
    """One photograph of one page; the same arguments give the same file. Its ``long_side`` in px
    is one of the level's if not given; ``troubles`` say what else goes wrong, and how often.
    """
    request = request or random_request(book, seed, troubles)
    level = LEVELS[level_name]
    if long_side is not None:
        level = level.small(long_side)
    rng = np.random.default_rng([seed, 22])
    layout = book.layout(BLANK if request.on_blank else request.visit.site)
    trouble = np.random.default_rng([seed, 55])
    sheet = filled_sheet(
        book, layout.pages[request.page - 1], request.visit, hands, level, HABITS[level_name], rng,
        troubles.of_sheet(trouble), trouble,
    )  # fmt: skip
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
