"""Lays a study out on paper: pure, from a checked study to places in mm."""

from __future__ import annotations

import json
from functools import lru_cache

from sheet_reader.errors import Mistake, StudyError, UsageError
from sheet_reader.sheet.blocks import LEAST_TALLY
from sheet_reader.sheet.draft import Draft
from sheet_reader.sheet.fonts import HINT, TooWideError, text_width, unprintable_texts
from sheet_reader.sheet.head import (
    counted_by_fits,
    draw_counted_by,
    draw_fields,
    draw_foot,
    draw_title,
    foot_lines,
    title_lines,
)
from sheet_reader.sheet.identity import (
    PAPER_MM,
    PROOF,
    draw_codes,
    letters,
    marker_mark,
    place_markers,
)
from sheet_reader.sheet.page import BLANK, DrawnPage, Page, SheetCode, SheetLayout
from sheet_reader.sheet.plan import Grid, draw_page, find_grid
from sheet_reader.study.kinds import COUNT
from sheet_reader.study.study import Paper, Study
from sheet_reader.study.words import SheetWords

EDITION = 2
"""Part of every layout version: another look of the sheet has another number here."""
_UNKNOWN_VERSION = "AAAA"


def lay_out(study: Study, sheet: str = BLANK) -> SheetLayout:
    """Lay out all pages of one sheet: of a site of the site list (its number), or BLANK.

    Raises UsageError for a site that is not on the site list and StudyError where the study does
    not fit its paper.
    """
    pages = tuple(drawn.page for drawn in draw_sheet(study, sheet))
    return SheetLayout(study.key, pages[0].code.layout, sheet, pages)


def draw_sheet(study: Study, sheet: str = BLANK) -> tuple[DrawnPage, ...]:
    """As :func:`lay_out`, with all printed marks of each page."""
    if sheet != BLANK and study.site(sheet) is None:
        raise UsageError(f"site {sheet[:12]} is not on the site list of {study.key}")
    grid, version = _arrangement(study)
    return _draw(study, sheet, version, grid)


def page_count(study: Study) -> int:
    """How many pages a sheet has; nothing is drawn for it. Raises as :func:`lay_out`."""
    return len(_grid(study).pages)


def layout_version(study: Study) -> str:
    """Four letters that change with every place on the blank sheet and every field's meaning
    (name, label, unit, boxes, order). Wording elsewhere may change without a new version.
    """
    return _arrangement(study)[1]


@lru_cache(maxsize=8)
def _arrangement(study: Study) -> tuple[Grid, str]:
    grid = _grid(study)
    return grid, _version(study, _draw(study, BLANK, _UNKNOWN_VERSION, grid))


def _version(study: Study, pages: tuple[DrawnPage, ...]) -> str:
    meaning = {
        "edition": EDITION,
        "paper": study.paper,
        "header": [[h.name, h.label, h.kind.name, h.boxes] for h in study.header],
        "plots": [[p.name, p.label, p.treatment] for p in study.plots],
        "counts": [
            [c.name, c.label, c.unit, c.boxes] + ([] if c.kind == COUNT else [c.kind.name])
            for c in study.counts
        ],
        "pages": [
            [
                [[m.id, m.corners_mm] for m in drawn.page.markers],
                [[c.field, c.index, c.part, c.box_mm] for c in drawn.page.cells],
                drawn.page.code_box_mm,
            ]
            for drawn in pages
        ],
    }
    text = json.dumps(meaning, sort_keys=True, separators=(",", ":"))
    version = letters(text.encode(), 4)
    return version if version != PROOF else letters(text.encode() + b"+", 4)


def _head(study: Study, page: int) -> float:
    code = SheetCode(study.key, _UNKNOWN_VERSION, BLANK, page)
    try:
        return draw_fields(Draft(), study, code, PAPER_MM[study.paper][0])
    except TooWideError:
        message = "a header field is too wide for the page"
        raise _does_not_fit(study, "header", message) from None


def foot_mistake(words: SheetWords, send_to: str, paper: Paper) -> Mistake | None:
    """What is wrong where address and advice are too long for the foot of the sheet."""
    width, _ = PAPER_MM[paper]
    if foot_lines(words, send_to, width) is not None:
        return None
    if foot_lines(words, "", width) is None:
        return Mistake("words.photograph", "is too long for the foot of the sheet")
    fits = next(n for n in range(len(send_to), -1, -1) if foot_lines(words, send_to[:n], width))
    what = f"is too long for the foot of the sheet: of its {len(send_to)} characters {fits} fit"
    return Mistake("send_to", what)


def _too_long(study: Study) -> tuple[Mistake, ...]:
    """What does not fit the head, the foot or the first tally space."""
    width = PAPER_MM[study.paper][0]
    found = []
    try:
        title_lines(study, width, 1)
        title_lines(study, width, 9)
    except TooWideError:
        found.append(Mistake("title", "is too long for the head of the sheet"))
    if (mistake := foot_mistake(study.words, study.send_to, study.paper)) is not None:
        found.append(mistake)
    if not counted_by_fits(study.words, width):
        found.append(Mistake("words.counted_by", "is too long for the head of the sheet"))
    if text_width(study.words.tally, HINT, "italic") > LEAST_TALLY:
        found.append(Mistake("words.tally", "is too long for the narrowest space to tally in"))
    return tuple(found)


@lru_cache(maxsize=8)
def _grid(study: Study) -> Grid:
    mistakes = unprintable_texts(study) or _too_long(study)
    if mistakes:
        raise StudyError(study.folder / "study.toml", mistakes)
    grid = find_grid(study, (_head(study, 1), _head(study, 2)))
    if grid is None:
        raise _does_not_fit(
            study,
            "counts",
            "the sheet can't hold this study: a text or row of boxes is too wide, or it needs "
            "more than nine pages; shorten texts, or use fewer plots, counts or instructions",
        )
    return grid


def _does_not_fit(study: Study, path: str, message: str) -> StudyError:
    return StudyError(study.folder / "study.toml", (Mistake(path, message),))


def _draw(study: Study, sheet: str, version: str, grid: Grid) -> tuple[DrawnPage, ...]:
    width, height = PAPER_MM[study.paper]
    drawn = []
    for number in range(1, len(grid.pages) + 1):
        draft = Draft()
        code = SheetCode(study.key, version, sheet, number)
        markers = place_markers(study.key, number, width, height)
        draft.marks.extend(marker_mark(marker) for marker in markers)
        draw_title(draft, study, code, len(grid.pages), width)
        draw_foot(draft, study, width, height)
        code_box, printed_box = draw_codes(draft.marks, code, width, height)
        if number == 1:
            draw_counted_by(draft, study.words, width)
        draw_fields(draft, study, code, width)
        draw_page(draft, study, grid, number, _head(study, number))
        page = Page(
            code, len(grid.pages), width, height, markers, tuple(draft.cells), code_box,
            printed_box, tuple(draft.areas),
        )  # fmt: skip
        drawn.append(DrawnPage(page, tuple(draft.marks)))
    return tuple(drawn)
