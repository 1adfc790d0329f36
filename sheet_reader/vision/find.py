"""The entry of the room: every sheet in a picture, identified and laid flat, or why none is."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import BLANK, Marker, Page
from sheet_reader.vision.arrays import Gray, as_float32, box_corners
from sheet_reader.vision.findings import Finding, NoSheet, SheetView
from sheet_reader.vision.flat_page import Pyramid
from sheet_reader.vision.locate import coarse_surface, locate, marker_correspondences
from sheet_reader.vision.machine_code import read_anywhere, read_machine_code, read_modules
from sheet_reader.vision.marker_groups import (
    MarkerGroup,
    MarkerPlan,
    group_markers,
    ids_of,
    plane,
    seek_missing,
)
from sheet_reader.vision.markers import SeenMarker, exhaustive_markers, fast_markers, refine_corners
from sheet_reader.vision.print_check import check_print
from sheet_reader.vision.printed_code import other_sheet, read_printed, tesseract_available
from sheet_reader.vision.quality import what_is_outside
from sheet_reader.vision.surface import (
    Correspondences,
    FittedSurface,
    apply_homography,
    fit_surface,
)
from sheet_reader.vision.template import PreparedPage, boxes_of, prepare
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

    def made(one: Page) -> PreparedPage:
        key = (one.code.layout, one.code.sheet, one.number)
        if key not in shelf:
            shelf[key] = prepare(one, book.template(one, VISION.template.raster_px_per_mm))
        return shelf[key]

    blank = book.layout(BLANK, page.code.layout).pages[page.number - 1]
    return boxes_of(made(blank), page) or made(page)


def find_sheets(gray: Gray, book: LayoutBook) -> list[Finding]:
    """Every sheet of ``book`` in a picture, and why other parts of it give none.

    ``gray`` is uint8 (H, W), upright or turned in any way but not mirrored. The list is never
    empty; nothing is drawn from one call to the next but the book's cached templates.
    """
    plans = tuple(MarkerPlan.of(page.markers) for page in _blank_pages(book))
    pyramid, ids = Pyramid(gray), ids_of(plans)
    seen = fast_markers(pyramid, ids)
    groups = _groups(pyramid, plans, seen)
    exhaustive = not groups or any(len(g.markers) < VISION.find.enough_markers for g in groups)
    if not exhaustive:
        findings = _read_groups(pyramid, groups, plans, book)
        exhaustive = any(isinstance(f, NoSheet) and f.reason.code in _NO_CODE for f in findings)
    if exhaustive:
        groups = _groups(pyramid, plans, exhaustive_markers(pyramid, seen, ids))
        findings = _read_groups(pyramid, groups, plans, book)
    return findings or [_nothing_found(pyramid, ids, book)]


def _groups(
    pyramid: Pyramid, plans: tuple[MarkerPlan, ...], seen: list[SeenMarker]
) -> list[MarkerGroup]:
    groups = [seek_missing(pyramid, plans[g.plan], g) for g in group_markers(plans, seen)]
    return [
        MarkerGroup(g.plan, tuple(refine_corners(pyramid, m) for m in g.markers), g.homography)
        for g in groups
    ]


def _read_groups(
    pyramid: Pyramid, groups: list[MarkerGroup], plans: tuple[MarkerPlan, ...], book: LayoutBook
) -> list[Finding]:
    """What each group gives. Stray markers that lie on a sheet already found are part of it."""
    findings: list[Finding] = []
    for group in groups:
        x, y = np.mean([m.centre_px for m in group.markers], axis=0).tolist()
        outlines = (as_float32(f.outline_px) for f in findings if isinstance(f, SheetView))
        if all(cv2.pointPolygonTest(outline, (x, y), False) < 0 for outline in outlines):
            findings.append(_read_group(pyramid, group, plans[group.plan], book))
    return findings


def _read_group(
    pyramid: Pyramid, group: MarkerGroup, plan: MarkerPlan, book: LayoutBook
) -> SheetView | NoSheet:
    number = _blank_pages(book)[group.plan].number
    start = marker_correspondences(plan, group)
    blanks = [b for b in book.blanks(number) if _stand_as(plan, b)][: VISION.find.most_layouts]
    for blank in blanks:  # until one version's print leads to the code
        template = prepared_page(book, blank)
        first = fit_surface(template.control_grid, group.homography, start)
        identity = _identify(pyramid, template, group, start, first, book)
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
        group = MarkerGroup(group.plan, group.markers, matrix)
        first = fit_surface(prepared_page(book, page).control_grid, matrix, start)
    located = locate(pyramid, prepared_page(book, page), start, first)
    if by == "machine code":
        printed = other_sheet(pyramid, located.surface, page, book)
        if printed is not None:  # none of the two is believed
            coded, other = (None if c.sheet == BLANK else c.sheet for c in (page.code, printed))
            return NoSheet(because(Code.TWO_SHEETS, coded=coded, printed=other))
    return build_view(pyramid, page, plan, group, located, by)


def _stand_as(plan: MarkerPlan, page: Page) -> bool:
    """Whether the page's markers stand where the plan has them."""
    return all(
        m.id in plan.corners_mm and np.array_equal(plan.corners_mm[m.id], m.corners_mm)
        for m in page.markers
    )


def _identify(
    pyramid: Pyramid, template: PreparedPage, group: MarkerGroup, start: Correspondences,
    first: FittedSurface, book: LayoutBook,
) -> tuple[Page, str] | NoSheet:  # fmt: skip
    """The page and the means by which it was told, or why it can't be told.

    The machine code is tried through the markers' surface, then through the surface of the whole
    print, whole and module by module; then the printed code.
    """
    page = template.page
    read = read_machine_code(pyramid, first, page.code_box_mm)
    if read.code is not None:
        return _outcome(book.lookup(read.code), "machine code")
    surface = coarse_surface(pyramid, template, start, first)
    again = read_machine_code(pyramid, surface, page.code_box_mm)
    code = again.code or read_modules(pyramid, surface, page.code_box_mm, book, page.number)
    if code is not None:
        return _outcome(book.lookup(code), "machine code")
    printed = read_printed(pyramid, surface, page, book)
    if printed is not None:
        return _outcome(printed, "printed code")
    if read.foreign or again.foreign:
        return NoSheet(because(Code.FOREIGN_CODE))
    return _no_code(pyramid, page, group)


def _outcome(found: Page | Reason, by: str) -> tuple[Page, str] | NoSheet:
    return NoSheet(found) if isinstance(found, Reason) else (found, by)


def _no_code(pyramid: Pyramid, page: Page, group: MarkerGroup) -> NoSheet:
    """Why neither code could be read."""
    places = apply_homography(group.homography, box_corners(page.code_box_mm))
    if what_is_outside(places, pyramid.shape):
        paper = box_corners((0.0, 0.0, page.width_mm, page.height_mm))
        part = what_is_outside(apply_homography(group.homography, paper), pyramid.shape)
        return NoSheet(because(Code.CODE_OUTSIDE, part=part))
    return NoSheet(because(Code.CODE_UNREADABLE, printed_readable=tesseract_available()))


def _nothing_found(pyramid: Pyramid, ids: tuple[int, ...], book: LayoutBook) -> NoSheet:
    """Why a picture without a group of markers gives no sheet."""
    ours = exhaustive_markers(pyramid, [], ids)
    depth = np.log2(max(pyramid.shape) / VISION.identify.anywhere_px)
    code = read_anywhere(pyramid.level(int(np.clip(round(depth), 0, 4))))
    found = None if code is None else book.lookup(code)
    if isinstance(found, Reason):
        return NoSheet(found)
    if ours or found is not None:
        return NoSheet(because(Code.TOO_FEW_MARKERS))
    depth = np.floor(np.log2(max(max(pyramid.shape) / 1000, 1)))
    edges = np.abs(cv2.Laplacian(pyramid.level(int(np.clip(depth, 0, 4))), cv2.CV_32F))
    blurred = np.percentile(edges, 98) < VISION.identify.least_focus
    return NoSheet(because(Code.BLURRED if blurred else Code.NO_SHEET))
