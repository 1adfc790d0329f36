"""The entry of the room: every sheet in a picture, identified and laid flat."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Code, because
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.model import BLANK, Marker, Page, SheetCode
from sheet_reader.vision.arrays import Array, Gray, as_float32
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.grouping import Group, MarkerPlan, group_markers, ids_of, plane
from sheet_reader.vision.identify import identify, nothing_found
from sheet_reader.vision.locate import locate, marker_correspondences
from sheet_reader.vision.markers import (
    SeenMarker,
    exhaustive_markers,
    fast_markers,
    refine_corners,
)
from sheet_reader.vision.other_print import other_sheet
from sheet_reader.vision.print_check import check_print
from sheet_reader.vision.seek import seek_missing
from sheet_reader.vision.surface import fit_surface
from sheet_reader.vision.template import PreparedPage, boxes_of, prepare
from sheet_reader.vision.types import Finding, NoSheet, SheetView
from sheet_reader.vision.view import build_view

_NO_CODE = (Code.CODE_OUTSIDE, Code.CODE_UNREADABLE)
_Shelf = dict[tuple[str, str, int], PreparedPage]
_prepared: WeakKeyDictionary[LayoutBook, _Shelf] = WeakKeyDictionary()


def _blank_pages(book: LayoutBook) -> tuple[Page, ...]:
    """The blank's page of each number, once for each way its markers stand: they stand alike in
    every version of the layout on one size of paper.
    """
    most = max(len(book.layout(BLANK, version).pages) for version in book.versions)
    found: dict[tuple[int, tuple[Marker, ...]], Page] = {}
    for number in range(1, most + 1):
        for page in book.blanks(number):
            found.setdefault((number, page.markers), page)
    return tuple(found.values())


def prepared_page(book: LayoutBook, page: Page) -> PreparedPage:
    """The page's template, made from the blank sheet's where that has the same boxes."""
    shelf = _prepared.setdefault(book, {})
    version = page.code.layout
    blank = book.layout(BLANK, version).pages[page.number - 1]
    key = (version, BLANK, page.number)
    if key not in shelf:
        shelf[key] = prepare(blank, book.template(blank, VISION.template.raster_px_per_mm))
    same = boxes_of(shelf[key], page)
    if same is not None:
        return same
    own = (version, page.code.sheet, page.number)
    if own not in shelf:
        shelf[own] = prepare(page, book.template(page, VISION.template.raster_px_per_mm))
    return shelf[own]


def find_sheets(gray: Gray, book: LayoutBook) -> list[Finding]:
    """Every sheet of ``book`` in a picture, and why other parts of it give none.

    ``gray`` is uint8 (H, W), upright or turned in any way but not mirrored. The list is never
    empty; nothing is drawn from one call to the next but the book's cached templates.
    """
    pages = _blank_pages(book)
    plans = tuple(MarkerPlan.of(page.markers) for page in pages)
    pyramid = Pyramid(gray)
    ids = ids_of(plans)
    seen = fast_markers(pyramid, ids)
    groups = _groups(pyramid, plans, seen)
    exhaustive = not groups or any(len(g.markers) < VISION.find.enough_markers for g in groups)
    if not exhaustive:
        findings = _read_groups(pyramid, groups, plans, book)
        exhaustive = any(isinstance(f, NoSheet) and f.reason.code in _NO_CODE for f in findings)
    if exhaustive:
        groups = _groups(pyramid, plans, exhaustive_markers(pyramid, seen, ids))
        findings = _read_groups(pyramid, groups, plans, book)
    return findings or [nothing_found(pyramid, plans, book)]


def _groups(pyramid: Pyramid, plans: tuple[MarkerPlan, ...], seen: list[SeenMarker]) -> list[Group]:
    groups = [seek_missing(pyramid, plans[g.plan], g) for g in group_markers(plans, seen)]
    return [
        Group(g.plan, tuple(refine_corners(pyramid, list(g.markers))), g.homography) for g in groups
    ]


def _read_groups(
    pyramid: Pyramid, groups: list[Group], plans: tuple[MarkerPlan, ...], book: LayoutBook
) -> list[Finding]:
    """What each group gives. Stray markers that lie on a sheet already found are part of it."""
    findings: list[Finding] = []
    for group in groups:
        middle = np.mean([m.corners_px.mean(axis=0) for m in group.markers], axis=0)
        if not any(isinstance(f, SheetView) and _lies_on(middle, f) for f in findings):
            findings.append(_read_group(pyramid, group, plans[group.plan], book))
    return findings


def _lies_on(point: Array, view: SheetView) -> bool:
    outline = as_float32(view.outline_px).reshape(-1, 1, 2)
    x, y = point.tolist()
    return cv2.pointPolygonTest(outline, (x, y), False) >= 0


def _read_group(
    pyramid: Pyramid, group: Group, plan: MarkerPlan, book: LayoutBook
) -> SheetView | NoSheet:
    number = _blank_pages(book)[group.plan].number
    start = marker_correspondences(plan, group)
    blanks = [b for b in book.blanks(number) if _stand_as(plan, b)][: VISION.find.most_layouts]
    for blank in blanks:  # until one version's print leads to the code
        template = prepared_page(book, blank)
        first = fit_surface(template.control_grid, group.homography, start)
        identity = identify(pyramid, template, group, start, first, book)
        if not isinstance(identity, NoSheet) or identity.reason.code not in _NO_CODE:
            break
    if isinstance(identity, NoSheet):
        if identity.reason.code is Code.PRINT_CHECK:
            return check_print(pyramid, plan, group, start, first, book.study)
        return identity
    page, by = identity
    if page.number != number or {m.id for m in page.markers} != set(plan.corners_mm):
        return NoSheet(because(Code.MARKS_DIFFER))
    if not _stand_as(plan, page):  # on paper of another size
        plan = MarkerPlan.of(page.markers)
        start = marker_correspondences(plan, group)
        matrix = plane(plan, group.markers)
        if matrix is None:
            return NoSheet(because(Code.MARKS_DIFFER))
        group = Group(group.plan, group.markers, matrix)
        first = fit_surface(prepared_page(book, page).control_grid, matrix, start)
    located = locate(pyramid, prepared_page(book, page), start, first)
    if by == "machine code":
        printed = other_sheet(pyramid, located.surface, page, book)
        if printed is not None:
            return _two_sheets(page.code, printed)
    return build_view(pyramid, page, plan, group, located, by)


def _stand_as(plan: MarkerPlan, page: Page) -> bool:
    """Whether the page's markers stand where the plan has them."""
    return all(
        m.id in plan.corners_mm and np.array_equal(plan.corners_mm[m.id], m.corners_mm)
        for m in page.markers
    )


def _two_sheets(coded: SheetCode, printed: SheetCode) -> NoSheet:
    """The square code and the print name two sheets: none of them is believed."""
    sites = (None if code.sheet == BLANK else code.sheet for code in (coded, printed))
    return NoSheet(because(Code.TWO_SHEETS, coded=next(sites), printed=next(sites)))
