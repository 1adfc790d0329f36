"""A photo in which no sheet was found, read by the corners that a person points at."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import partial

import numpy as np
from sqlalchemy import select

from sheet_reader.errors import UsageError
from sheet_reader.reading.photo import book_of, read_original
from sheet_reader.reading.picture import read_pointed as read_picture_pointed
from sheet_reader.reading.promise import promise_of
from sheet_reader.reading.versions import model_version
from sheet_reader.record import claims, schema, writing
from sheet_reader.record.claims import Task
from sheet_reader.record.photo_list import photo_fates
from sheet_reader.record.store import Record
from sheet_reader.sheet.model import BLANK, Page, SheetCode

Corners = Sequence[Sequence[float]]


def without_sheet(record: Record) -> list[int]:
    """The photos in which no sheet was found, by number."""
    return [fate.photo_id for fate in photo_fates(record) if fate.fate == "not readable"]


def pages_to_choose(record: Record) -> list[Page]:
    """The pages that a sheet may be: the blank ones, then those of every site, as printed now."""
    book = book_of(record.study)
    sheets = [BLANK, *(site.number for site in record.study.sites)]
    return [page for sheet in sheets for page in book.layout(sheet).pages]


def read_pointed(
    record: Record, photo_id: int, corners: Corners, sheet: str, number: int, today: date
) -> int:
    """Read the sheet at ``corners`` (four x, y in px of the upright picture, clockwise from the
    printed top left): page ``number`` of ``sheet`` (a site number, or BLANK). Gives how many fields
    of it were read.

    Raises :class:`UsageError` where there is no such photo or page, where the corners are those of
    no page, and where the photo has been read meanwhile.
    """
    study = record.study
    book = book_of(study)
    page = book.lookup(SheetCode(study.key, book.version, sheet, number))
    if photo_id not in without_sheet(record) or not isinstance(page, Page):
        raise UsageError("there is no such photo or page to be read")
    threshold = promise_of(record).threshold if record.audited() else None
    reader = partial(
        read_picture_pointed, page=page, corners=np.array(corners, np.float64), threshold=threshold
    )
    try:
        path = record.photo_path(photo_id)
        result = read_original(path, study, book, today, reader)
    except ValueError as error:
        raise UsageError(str(error)) from error
    task, token = _task(record, photo_id), claims.my_token()
    with record.writing() as connection:
        kept = claims.claim(connection, task, token) and writing.finish(
            connection, task, token, result, model_version(), ""
        )
    if not kept:
        raise UsageError("the photo has been read meanwhile")
    return sum(len(found.fields) for found in result.pages)


def _task(record: Record, photo_id: int) -> Task:
    c = schema.photos.c
    with record.reading() as connection:
        row = connection.execute(
            select(c.id, c.name, c.original, c.attempts).where(c.id == photo_id)
        ).one()
    return Task(row.id, row.name, row.original, row.attempts)
