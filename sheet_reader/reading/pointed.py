"""A photo in which no sheet was found, read by the corners that a person points at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select

from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import open_picture
from sheet_reader.reading.field_pictures import laid_straight
from sheet_reader.reading.opening import promise_of
from sheet_reader.reading.photo import read_original
from sheet_reader.reading.picture import read_pointed as read_picture_pointed
from sheet_reader.reading.rules import model_version
from sheet_reader.reasons import Reason
from sheet_reader.record.history import found
from sheet_reader.record.history.found import PhotoResult, pointed_at, withdraw
from sheet_reader.record.history.photo_fates import photo_fates
from sheet_reader.record.store import claims, schema
from sheet_reader.record.store.claims import Task
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.kept_layouts import whole_book
from sheet_reader.sheet.page import BLANK, Page, SheetCode
from sheet_reader.vision.findings import NoSheet
from sheet_reader.vision.pointed import find_by_corners, implausible


@dataclass(frozen=True)
class Pointing:
    """Where a person says that a sheet lies: ``corners`` float64 (4, 2) px of the photo's first
    picture, clockwise from the printed top left of ``page``. ``straight`` uint8 (H, W) is what lies
    there as the page (None where no page can), ``refused`` why it is not to be read.
    """

    photo_id: int
    page: Page
    corners: NDArray[np.float64]
    straight: NDArray[np.uint8] | None
    refused: Reason | None


def without_sheet(record: Record) -> list[int]:
    """The photos in which no sheet was found, by number."""
    return [fate.photo_id for fate in photo_fates(record) if fate.fate == "not readable"]


def read_where_pointed(record: Record) -> list[int]:
    """The photos that were read where a person pointed, by number."""
    with record.reading() as connection:
        return sorted(set(pointed_at(connection).values()))


def pages_to_choose(record: Record) -> list[Page]:
    """The pages that a sheet may be: the blank ones, then those of every site, as printed now."""
    book = whole_book(record.study)
    sheets = [BLANK, *(site.number for site in record.study.sites)]
    return [page for sheet in sheets for page in book.layout(sheet).pages]


def point_at(
    record: Record, photo_id: int, corners: Sequence[Sequence[float]], sheet: str, number: int
) -> Pointing:
    """Look at the place of page ``number`` of ``sheet`` (a site number, or BLANK) in a photo;
    ``corners`` are shares of the picture's width and height. Nothing is read or kept yet.

    Raises :class:`UsageError` where there is no such photo or page.
    """
    book = whole_book(record.study)
    page = book.lookup(SheetCode(record.study.key, book.version, sheet, number))
    known = {*without_sheet(record), *read_where_pointed(record)}
    if photo_id not in known or not isinstance(page, Page):
        raise UsageError("there is no such photo or page to be read")
    picture = open_picture(record.photo_path(photo_id), 0)
    if picture is None:
        raise UsageError("the photo can't be opened")
    gray = picture.gray
    at = np.array(corners, np.float64) * gray.shape[::-1]
    wrong, straight = implausible(at, page, gray.shape), None
    if wrong is None:
        straight = laid_straight(gray, at, page.width_mm, page.height_mm)
        found = find_by_corners(gray, page, at, book)
        wrong = found if isinstance(found, NoSheet) else None
    return Pointing(photo_id, page, at, straight, wrong.reason if wrong is not None else None)


def read_pointed(record: Record, where: Pointing, today: date, by: str) -> PhotoResult:
    """Read the sheet at a place that a person looked at, in place of what was read where she
    pointed before. Nothing is kept of a result without pages, which says why.

    Raises :class:`UsageError` where the photo has been read meanwhile.
    """
    study, book = record.study, whole_book(record.study)
    threshold = promise_of(record).threshold if record.audited() else None
    reader = partial(
        read_picture_pointed, page=where.page, corners=where.corners, threshold=threshold
    )
    token, c = claims.my_token(), schema.photos.c
    with record.reading() as connection:
        query = select(c.id, c.name, c.original, c.attempts).where(c.id == where.photo_id)
        task = Task(*connection.execute(query).one())
    result = read_original(record.photo_path(where.photo_id), study, book, today, reader)
    if not result.pages:
        return result
    with record.writing() as connection:
        before = [p for p, photo in pointed_at(connection).items() if photo == where.photo_id]
        kept = claims.claim(connection, task, token)
        if kept and before:
            withdraw(connection, study, where.photo_id, before, by)
        kept = kept and found.finish(connection, task, token, result, model_version(), "")
    if not kept:
        raise UsageError("the photo has been read meanwhile")
    return result


def take_back(record: Record, photo_id: int, by: str) -> None:
    """What was read where a person pointed in this photo counts no more; the photo is one without a
    sheet again. Raises :class:`UsageError` where nothing was read so.
    """
    with record.writing() as connection:
        pages = [p for p, photo in pointed_at(connection).items() if photo == photo_id]
        if not pages:
            raise UsageError("nothing was read there that could be taken back")
        withdraw(connection, record.study, photo_id, pages, by)
