"""Lays a study out on paper: pure, from a checked study to places in mm."""

from __future__ import annotations

import json
from functools import lru_cache

from sheet_reader.errors import Mistake, StudyError, UsageError
from sheet_reader.sheet.codes import letters
from sheet_reader.sheet.drawing import Dot
from sheet_reader.sheet.drawn_page import DrawnPage
from sheet_reader.sheet.first_edition.draft import DISC, Draft
from sheet_reader.sheet.first_edition.head import draw_fields, draw_foot, draw_title, title_size
from sheet_reader.sheet.first_edition.plan import Grid, draw_page, find_grid
from sheet_reader.sheet.identity import PAPER_MM, draw_codes
from sheet_reader.sheet.markers import marker_mark, place_markers
from sheet_reader.sheet.model import BLANK, Page, SheetCode
from sheet_reader.sheet.printable import unprintable_texts
from sheet_reader.study.model import Study

_UNKNOWN_VERSION = "AAAA"


def draw_sheet(study: Study, sheet: str = BLANK) -> tuple[DrawnPage, ...]:
    """As :func:`lay_out`, with all printed marks of each page."""
    if sheet != BLANK and study.site(sheet) is None:
        raise UsageError(f"site {sheet[:12]} is not on the site list of {study.key}")
    grid, version = _arrangement(study)
    return _draw(study, sheet, version, grid)


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
        "paper": study.paper,
        "header": [[h.name, h.label, h.kind, h.boxes] for h in study.header],
        "plots": [[p.name, p.label, p.treatment] for p in study.plots],
        "counts": [[c.name, c.label, c.unit, c.boxes] for c in study.counts],
        "pages": [
            [
                [[m.id, m.corners_mm] for m in drawn.page.markers],
                [[c.field, c.index, c.part, c.box_mm] for c in drawn.page.cells],
                discs(drawn),
                drawn.page.code_box_mm,
            ]
            for drawn in pages
        ],
    }
    text = json.dumps(meaning, sort_keys=True, separators=(",", ":"))
    return letters(text.encode(), 4)


def discs(drawn: DrawnPage) -> list[tuple[float, float]]:
    """The centres in mm of the solid discs (DISC mm wide) beside the boxes, as printed."""
    dots = (mark for mark in drawn.marks if isinstance(mark, Dot))
    return [(dot.x, dot.y) for dot in dots if dot.diameter_mm == DISC]


def _head(study: Study, page: int, sheet: str = BLANK) -> float:
    code = SheetCode(study.key, _UNKNOWN_VERSION, sheet, page)
    bottom = draw_fields(Draft(), study, code, PAPER_MM[study.paper][0])
    if bottom is None:
        raise _does_not_fit(study, "header", "a header field is too wide for the page")
    return bottom


def _grid(study: Study) -> Grid:
    mistakes = unprintable_texts(study)
    if not title_size(study, PAPER_MM[study.paper][0]):
        mistakes += (Mistake("title", "is too long for the head of the sheet"),)
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
        draw_foot(draft, width, height)
        code_box, printed_box = draw_codes(draft.marks, code, width, height)
        draw_fields(draft, study, code, width)
        draw_page(draft, study, grid, number, _head(study, number))
        page = Page(
            code, len(grid.pages), width, height, markers, tuple(draft.cells), code_box,
            printed_box,
        )  # fmt: skip
        drawn.append(DrawnPage(page, tuple(draft.marks)))
    return tuple(drawn)
