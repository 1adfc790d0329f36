"""Photos in which no sheet was found: pointed at and read, or typed in beside the photo."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import open_picture
from sheet_reader.reading.pointed import pages_to_choose, read_pointed, without_sheet
from sheet_reader.record.entered import enter
from sheet_reader.record.naming import neutral_name
from sheet_reader.record.photo_list import photo_fates
from sheet_reader.record.row_sums import sums_off
from sheet_reader.record.store import Record
from sheet_reader.review.typed_values import understood
from sheet_reader.sheet.model import BLANK
from sheet_reader.wording import words

Plain = dict[str, Any]


def rescue_view(record: Record) -> Plain:
    """The photos without a sheet, the pages that one may be, and the fields to type in."""
    wanted = set(without_sheet(record))
    photos = [
        {
            "id": fate.photo_id, "name": neutral_name(fate.photo_id), "why": words(fate.reasons),
            "picture": f"/picture/arrived/{fate.photo_id}",
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


def point_at(record: Record, message: Plain, today: date) -> str:
    """Read the sheet at the corners of a message, given as shares of the picture; gives what is
    said of it. Raises :class:`UsageError` for what can't be read.
    """
    photo, corners = message.get("photo"), _corners(message.get("corners"))
    sheet, number = str(message.get("sheet", "")), message.get("page")
    wanted = without_sheet(record)
    if not isinstance(photo, int) or not isinstance(number, int) or photo not in wanted:
        raise UsageError("there is no such photo or page to be read")
    picture = open_picture(record.photo_path(photo), 0)
    if picture is None:
        raise UsageError("the photo can't be opened")
    height, width = picture.gray.shape
    corners = corners * (width, height)
    fields = read_pointed(record, photo, corners.tolist(), sheet, number, today)
    if fields == 0:
        return f"{neutral_name(photo)}: nothing is written on the sheet there."
    return f"{neutral_name(photo)} is read, {fields} fields; what is doubtful is asked."


def _corners(said: object) -> np.ndarray:
    try:
        corners = np.array(said, np.float64)
    except (TypeError, ValueError):
        corners = np.zeros(0)
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise UsageError("four corners are wanted")
    return corners


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
