"""Photos in which no sheet was found: pointed at and read, or typed in beside the photo."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from sheet_reader.errors import UsageError
from sheet_reader.reading.pointed import (
    Pointing,
    pages_to_choose,
    point_at,
    read_pointed,
    read_where_pointed,
    take_back,
    without_sheet,
)
from sheet_reader.record.history.entered import enter
from sheet_reader.record.history.photo_fates import photo_fates
from sheet_reader.record.history.row_sums import sums_off
from sheet_reader.record.store.store import Record
from sheet_reader.review.typed_values import understood
from sheet_reader.sheet.page import BLANK
from sheet_reader.wording import neutral_name, words

Plain = dict[str, Any]


def rescue_view(record: Record) -> Plain:
    """The photos without a sheet and those that were read where a person pointed, the pages that
    one may be, and the fields to type in.
    """
    pointed = set(read_where_pointed(record))
    wanted = pointed.union(without_sheet(record))
    photos = [
        {
            "id": fate.photo_id, "name": neutral_name(fate.photo_id), 
            "why": "read where you pointed" if fate.photo_id in pointed else words(fate.reasons),
            "picture": f"/picture/arrived/{fate.photo_id}", "read": fate.photo_id in pointed,
        }
        for fate in photo_fates(record) if fate.photo_id in wanted
    ]  # fmt: skip
    return {
        "photos": photos,
        "pages": [_page(record, page.code.sheet, page.number) for page in pages_to_choose(record)],
        "fields": [{"name": s.name, "label": s.label, "kind": s.kind} for s in record.study.fields],
    }


def _page(record: Record, sheet: str, number: int) -> Plain:
    site = record.study.site(sheet)
    label = "a blank sheet" if sheet == BLANK else f"{sheet} {site.label if site else ''}"
    return {"sheet": sheet, "page": number, "label": f"{label}, page {number}"}


def place_of(record: Record, message: Plain) -> Pointing:
    """The place that a message points at, by corners given as shares of the picture. Raises
    :class:`UsageError` for what can't be a place.
    """
    photo, number = message.get("photo"), message.get("page")
    if not isinstance(photo, int) or not isinstance(number, int):
        raise UsageError("there is no such photo or page to be read")
    corners = _corners(message.get("corners"))
    return point_at(record, photo, corners, str(message.get("sheet", "")), number)


def read_there(record: Record, where: Pointing, today: date, by: str) -> str:
    """Read the sheet at a place that was looked at; gives what is said of it. Raises
    :class:`UsageError` for what can't be read.
    """
    result, name = read_pointed(record, where, today, by), neutral_name(where.photo_id)
    if not result.pages:
        raise UsageError(f"{name}: {words(result.failures)}")
    fields = sum(len(found.fields) for found in result.pages)
    return f"{name} is read, {fields} fields; what is doubtful is asked."


def take_there_back(record: Record, message: Plain, by: str) -> str:
    """What was read where a person pointed counts no more; gives what is said of it. Raises
    :class:`UsageError`.
    """
    photo = message.get("photo")
    take_back(record, photo if isinstance(photo, int) else 0, by)
    return "What was read there is taken back, with its questions and answers; point again."


def _corners(said: object) -> list[list[float]]:
    try:
        corners = np.array(said, np.float64)
    except (TypeError, ValueError, OverflowError):
        corners = np.zeros(0)
    if corners.shape != (4, 2):
        raise UsageError("four corners are wanted")
    return corners.tolist()  # type: ignore[no-any-return]


def type_in(record: Record, message: Plain, today: date, by: str) -> Plain:
    """Keep the sheet of a photo as it was typed; gives what is ``said`` of it, or, unless the
    person is ``sure``, the ``doubts`` to be looked at once more. Raises :class:`UsageError`.
    """
    photo, given = message.get("photo"), message.get("values")
    if not isinstance(photo, int) or photo not in without_sheet(record):
        raise UsageError("there is no such photo to be typed in")
    texts = given if isinstance(given, dict) else {}
    study = record.study
    said = {
        spec.name: understood(spec, str(texts.get(spec.name, ""))[:60], study, today)
        for spec in study.fields
    }
    values = {name: value.text for name, value in said.items()}
    doubts = [f"{value.spec.label}: {value.doubt}" for value in said.values() if value.doubt]
    doubts += [f"{value.spec.label}: leave empty what can't be read" for value in said.values()
               if value.unreadable]  # fmt: skip
    off = sums_off(study, values, values)
    doubts += off.values()
    if doubts and message.get("sure") is not True:
        return {"doubts": doubts}
    enter(record, values, by=by, photo_id=photo, told=off)
    return {"said": f"{neutral_name(photo)} is typed in."}
