"""A picture in, its sheets out: vision, digits and decoding in one call."""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.counts import History
from sheet_reader.decode.pages import PageReading
from sheet_reader.decode.sheet import Rules, decode_sheet
from sheet_reader.digits.read import read_sheet
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading.reader import fields_of
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import Page
from sheet_reader.study.study import Study
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import CROP_PX, NoSheet, SheetView
from sheet_reader.vision.pointed import find_by_corners

Read = tuple[SheetView, PageReading] | NoSheet


def read_picture(
    picture: OpenedPicture,
    study: Study,
    book: LayoutBook,
    today: date,
    *,
    history: History | None = None,
    threshold: float | None = None,
    rules: Rules = Rules.ALL,
) -> list[Read]:
    """Find every sheet in ``picture`` and decode it; a part without a sheet gives its reason.

    ``book`` is the study's layout book; the rest as in :func:`decode_sheet`.
    """
    return [
        finding
        if isinstance(finding, NoSheet)
        else (finding, _decoded(finding, study, book, today, history, threshold, rules))
        for finding in find_sheets(picture.gray, book)
    ]


def read_pointed(
    picture: OpenedPicture,
    study: Study,
    book: LayoutBook,
    today: date,
    *,
    page: Page,
    corners: NDArray[np.float64],
    threshold: float | None = None,
) -> list[Read]:
    """The sheet in ``picture`` that a person pointed at, or why it is not there: its ``page``, and
    its ``corners`` (4, 2) px, clockwise from the printed top left; nothing in another picture than
    the first of a file.
    """
    if picture.frame:
        return []
    view = find_by_corners(picture.gray, page, corners, book)
    if isinstance(view, NoSheet):
        return [view]
    return [(view, _decoded(view, study, book, today, None, threshold, Rules.ALL))]


def _decoded(
    view: SheetView,
    study: Study,
    book: LayoutBook,
    today: date,
    history: History | None,
    threshold: float | None,
    rules: Rules,
) -> PageReading:
    crops = np.array([box.crop for box in view.boxes], np.uint8).reshape(-1, CROP_PX, CROP_PX)
    fields = fields_of(study, book, view.page.code.layout)
    return decode_sheet(
        view, read_sheet(crops), fields, today, history=history, threshold=threshold, rules=rules
    )
