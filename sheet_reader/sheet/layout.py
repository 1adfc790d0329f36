"""Lays a study out on paper: pure, from a checked study to places in mm."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache

from sheet_reader.errors import Mistake, StudyError, UsageError
from sheet_reader.sheet.codes import letters
from sheet_reader.sheet.draft import DISC, Draft
from sheet_reader.sheet.drawing import Blocks, Mark
from sheet_reader.sheet.head import draw_codes, draw_fields, draw_foot, draw_title, title_size
from sheet_reader.sheet.markers import MODULES, marker_modules, place_markers
from sheet_reader.sheet.model import BLANK, Marker, Page, SheetCode, SheetLayout
from sheet_reader.sheet.plan import PAPER_MM, Grid, draw_page, find_grid
from sheet_reader.sheet.printable import unprintable_texts
from sheet_reader.study.model import Study

_UNKNOWN_VERSION = "AAAA"


@dataclass(frozen=True, slots=True)
class DrawnPage:
    """A page and everything printed on it."""

    page: Page
    marks: tuple[Mark, ...]


def lay_out(study: Study, sheet: str = BLANK) -> SheetLayout:
    """Lay out all pages of one sheet: of a site of the roster (its number), or BLANK.

    Raises UsageError for a site that is not on the roster and StudyError where the study does not
    fit its paper.
    """
    pages = tuple(drawn.page for drawn in draw_sheet(study, sheet))
    return SheetLayout(study.key, pages[0].code.layout, sheet, pages)


def draw_sheet(study: Study, sheet: str = BLANK) -> tuple[DrawnPage, ...]:
    """As :func:`lay_out`, with all printed marks of each page."""
    if sheet != BLANK and study.site(sheet) is None:
        raise UsageError(f"site {sheet[:12]} is not on the roster of {study.key}")
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
                drawn.page.anchors_mm,
                drawn.page.code_box_mm,
            ]
            for drawn in pages
        ],
    }
    text = json.dumps(meaning, sort_keys=True, separators=(",", ":"))
    return letters(text.encode(), 4)


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
        draft.marks.extend(_marker_mark(marker) for marker in markers)
        draw_title(draft, study, code, len(grid.pages), width)
        draw_foot(draft, width, height)
        code_box, printed_box = draw_codes(draft, code, width, height)
        draw_fields(draft, study, code, width)
        draw_page(draft, study, grid, number, _head(study, number))
        page = Page(
            code, len(grid.pages), width, height, markers, tuple(draft.cells),
            tuple(draft.discs), DISC, code_box, printed_box,
        )  # fmt: skip
        drawn.append(DrawnPage(page, tuple(draft.marks)))
    return tuple(drawn)


def _marker_mark(marker: Marker) -> Blocks:
    (x, y), (right, _), *_ = marker.corners_mm
    side = (right - x) / MODULES
    return Blocks(
        tuple(
            (round(x + c * side, 4), round(y + r * side, 4), side, side)
            for r, row in enumerate(marker_modules(marker.id))
            for c, dark in enumerate(row)
            if dark
        )
    )
