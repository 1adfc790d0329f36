"""The entry of the room: every sheet in a picture, identified and laid flat."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import cv2
import numpy as np

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.model import BLANK, Page, SheetCode
from sheet_reader.vision.arrays import Array, Gray, as_float32
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.grouping import Group, MarkerPlan, group_markers
from sheet_reader.vision.identify import identify, nothing_found
from sheet_reader.vision.locate import locate, marker_sightings
from sheet_reader.vision.markers import (
    SeenMarker,
    patient_markers,
    quick_markers,
    refine_corners,
)
from sheet_reader.vision.other_print import other_sheet
from sheet_reader.vision.seek import seek_missing
from sheet_reader.vision.surface import fit_surface
from sheet_reader.vision.template import RASTER, PreparedPage, boxes_of, prepare
from sheet_reader.vision.types import Finding, NoSheet, SheetView
from sheet_reader.vision.view import build_view

_ENOUGH_MARKERS = 4
_Shelf = dict[tuple[str, str, int], PreparedPage]
_prepared: WeakKeyDictionary[LayoutBook, _Shelf] = WeakKeyDictionary()


def _blank_pages(book: LayoutBook) -> tuple[Page, ...]:
    """The blank's page of each number; its markers stand alike in every version of the layout."""
    most = max(len(book.layout(BLANK, version).pages) for version in book.versions)
    return tuple(book.blanks(number)[0] for number in range(1, most + 1))


def _prepare(book: LayoutBook, page: Page) -> PreparedPage:
    """The page's template, made from the blank sheet's where that has the same boxes."""
    shelf = _prepared.setdefault(book, {})
    version = page.code.layout
    blank = book.layout(BLANK, version).pages[page.number - 1]
    key = (version, BLANK, page.number)
    if key not in shelf:
        shelf[key] = prepare(blank, book.template(blank, RASTER))
    same = boxes_of(shelf[key], page)
    if same is not None:
        return same
    own = (version, page.code.sheet, page.number)
    if own not in shelf:
        shelf[own] = prepare(page, book.template(page, RASTER))
    return shelf[own]


def find_sheets(gray: Gray, book: LayoutBook) -> list[Finding]:
    """Every sheet of ``book`` in a picture, and why other parts of it give none.

    ``gray`` is uint8 (H, W), upright or turned in any way but not mirrored. The list is never
    empty; nothing is drawn from one call to the next but the book's cached templates.
    """
    pages = _blank_pages(book)
    plans = tuple(MarkerPlan.of(page.markers) for page in pages)
    pyramid = Pyramid(gray)
    seen = quick_markers(gray)
    groups = _groups(pyramid, plans, seen)
    patient = not groups or any(len(g.markers) < _ENOUGH_MARKERS for g in groups)
    if not patient:
        findings = _read_groups(pyramid, groups, plans, book)
        patient = any(isinstance(f, NoSheet) and f.kind == "no code" for f in findings)
    if patient:
        groups = _groups(pyramid, plans, patient_markers(gray, seen))
        findings = _read_groups(pyramid, groups, plans, book)
    return findings or [nothing_found(pyramid, plans, book)]


def _groups(pyramid: Pyramid, plans: tuple[MarkerPlan, ...], seen: list[SeenMarker]) -> list[Group]:
    gray = pyramid.levels[0]
    groups = [seek_missing(pyramid, plans[g.plan], g) for g in group_markers(plans, seen)]
    return [
        Group(g.plan, tuple(refine_corners(gray, list(g.markers))), g.homography) for g in groups
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
    number = group.plan + 1
    start = marker_sightings(plan, group)
    for blank in book.blanks(number):  # until one version's print leads to the code
        template = _prepare(book, blank)
        first = fit_surface(template.lattice, group.homography, start)
        identity = identify(pyramid, template, group, start, first, book)
        if not isinstance(identity, NoSheet) or identity.kind != "no code":
            break
    if isinstance(identity, NoSheet):
        return identity
    page, by = identity
    if page.number != number or {m.id for m in page.markers} != set(plan.corners_mm):
        return NoSheet(
            "damaged code",
            "the code on this sheet and its corner marks name different pages; "
            "type its numbers in by hand",
        )
    located = locate(pyramid, _prepare(book, page), start, first)
    if by == "machine code":
        printed = other_sheet(pyramid, located.surface, page, book)
        if printed is not None:
            return _two_sheets(page.code, printed)
    return build_view(pyramid, page, plan, group, located, by)


def _two_sheets(coded: SheetCode, printed: SheetCode) -> NoSheet:
    """The square code and the print name two sheets: none of them is believed."""
    return NoSheet(
        "damaged code",
        f"the square code says {_named(coded)}, but {_named(printed)} is printed on this sheet: "
        "find out which is right and type its numbers in by hand",
    )


def _named(code: SheetCode) -> str:
    return "blank sheet" if code.sheet == BLANK else f"site {code.sheet}"
