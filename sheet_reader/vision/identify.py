"""Which page a group of markers belongs to, or why nothing can be read."""

from __future__ import annotations

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Code, because
from sheet_reader.sheet.book import LayoutBook, Mismatch
from sheet_reader.sheet.model import Page
from sheet_reader.vision.codes import (
    CodeRead,
    read_anywhere,
    read_machine_code,
    read_modules,
)
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.grouping import Group, MarkerPlan, ids_of
from sheet_reader.vision.locate import coarse_surface
from sheet_reader.vision.markers import exhaustive_markers
from sheet_reader.vision.printed import printed_code_available, read_printed
from sheet_reader.vision.quality import what_is_outside
from sheet_reader.vision.surface import Correspondences, Surface, apply_homography
from sheet_reader.vision.template import PreparedPage
from sheet_reader.vision.types import NoSheet


def identify(
    pyramid: Pyramid, template: PreparedPage, group: Group, start: Correspondences, first: Surface,
    book: LayoutBook,
) -> tuple[Page, str] | NoSheet:  # fmt: skip
    """The page and the means by which it was told, or why it can't be told.

    The machine code is tried through the markers' surface, then through the surface of the whole
    print; then the printed code.
    """
    page = template.page
    read = read_machine_code(pyramid, first, page.code_box_mm)
    if read.code is None:
        surface = coarse_surface(pyramid, template, start, first)
        read = _second_try(pyramid, surface, page, book, read)
        if read.code is None:
            printed = read_printed(pyramid, surface, page, book)
            if printed is not None:
                return _outcome(printed, "printed code")
    if read.code is None:
        return _unreadable(pyramid, page, group, read)
    return _outcome(book.lookup(read.code), read.by)


def _second_try(
    pyramid: Pyramid, surface: Surface, page: Page, book: LayoutBook, first: CodeRead
) -> CodeRead:
    """The machine code through the surface of the whole print, whole and module by module."""
    again = read_machine_code(pyramid, surface, page.code_box_mm)
    if again.code is not None:
        return again
    modules = read_modules(pyramid, surface, page.code_box_mm, book, page.number)
    if modules.code is not None:
        return modules
    return again if again.foreign else first


def _outcome(found: Page | Mismatch, by: str) -> tuple[Page, str] | NoSheet:
    if isinstance(found, Mismatch):
        return NoSheet(found.reason)
    return found, by


def _unreadable(pyramid: Pyramid, page: Page, group: Group, read: CodeRead) -> NoSheet:
    """Why neither code could be read."""
    if read.foreign:
        return NoSheet(because(Code.FOREIGN_CODE))
    x, y, w, h = page.code_box_mm
    corners = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
    places = apply_homography(group.homography, corners)
    height, width = pyramid.shape
    if (places < 0).any() or (places > (width - 1, height - 1)).any():
        edges = np.array([[0, 0], [page.width_mm, 0], [page.width_mm, page.height_mm],
                          [0, page.height_mm]])  # fmt: skip
        part = what_is_outside(apply_homography(group.homography, edges), pyramid.shape)
        return NoSheet(because(Code.CODE_OUTSIDE, part=part))
    return NoSheet(because(Code.CODE_UNREADABLE, printed_readable=printed_code_available()))


def nothing_found(pyramid: Pyramid, plans: tuple[MarkerPlan, ...], book: LayoutBook) -> NoSheet:
    """Why a picture without a group of markers gives no sheet."""
    gray = pyramid.levels[0]
    ours = exhaustive_markers(pyramid, [], ids_of(plans))
    depth = int(np.clip(round(np.log2(max(gray.shape) / VISION.identify.anywhere_px)), 0, 4))
    read, _ = read_anywhere(pyramid.level(depth))
    if read.code is not None:
        outcome = _outcome(book.lookup(read.code), read.by)
        if isinstance(outcome, NoSheet):
            return outcome
    if ours or read.code is not None:
        return NoSheet(because(Code.TOO_FEW_MARKERS))
    if _focus(pyramid) < VISION.identify.least_focus:
        return NoSheet(because(Code.BLURRED))
    return NoSheet(because(Code.NO_SHEET))


def _focus(pyramid: Pyramid) -> float:
    """Strength of the finest edges in a reduced picture, in grey values."""
    depth = int(np.clip(np.floor(np.log2(max(max(pyramid.shape) / 1000, 1))), 0, 4))
    edges = np.abs(cv2.Laplacian(pyramid.level(depth), cv2.CV_32F))
    return float(np.percentile(edges, 98))
