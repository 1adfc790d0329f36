"""Sheets typed in by hand, with or without a photo beside them.

A typed sheet is a page like any other: it has a reading of every printed field that read nothing,
and beside each a decision of the person who typed. So it is merged, corrected, set aside and undone
as others are. Where there is no photo, a line in ``photos`` stands for it that has no original.
"""

from __future__ import annotations

import secrets
from collections.abc import Collection, Mapping, Sequence

from sqlalchemy import Connection, func, select

from sheet_reader import __version__
from sheet_reader.decode.pages import FieldReading
from sheet_reader.errors import UsageError
from sheet_reader.record.history.answers import FieldAnswer, LeftEmpty, SumTold, Value
from sheet_reader.record.history.deciding import add_answer, checked_value
from sheet_reader.record.history.found import new_identity
from sheet_reader.record.history.meaning_answers import keep_wording
from sheet_reader.record.history.mending import must_have_photo
from sheet_reader.record.history.photos import insert_row
from sheet_reader.record.history.runs import insert_run
from sheet_reader.record.history.states import TYPED
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.layout import lay_out
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.days import now
from sheet_reader.study.former import as_text, wording_of
from sheet_reader.study.study import Study

NAME = "typed in by hand"


def enter(
    record: Record,
    values: Mapping[str, str | None],
    *,
    by: str,
    reason: str = "",
    photo_id: int | None = None,
    told: Collection[SumTold] = (),
) -> int:
    """Keep a sheet as a person typed it, whole or not at all; gives the number of its photo.

    ``values`` are by field name: digits, a date in ISO 8601, or None for not recorded, and fields
    left out are not recorded. ``photo_id`` is the photo that shows the sheet, if one does. ``told``
    are the sums that do not fit and were confirmed: they are not asked about. Raises
    :class:`UsageError` for a value that can't be one, a site that is not on the list, a site or
    date that is missing, and a photo that is not there.
    """
    study = record.study
    said = {name: None if text is None else checked_value(study, name, text)
            for name, text in values.items()}  # fmt: skip
    for name in study.keys:
        if said.get(name) is None:
            spec = study.spec(name)
            assert spec is not None
            raise UsageError(f"{spec.label}: a sheet typed in needs its {spec.kind.name}")
    site, day = (said[name] for name in study.keys)
    with record.writing() as connection:
        photo = _photo(connection, photo_id)
        answers: list[FieldAnswer] = []
        for number, names in enumerate(printed_fields(study), start=1):
            page = _page(connection, study, photo, number)
            readings = _readings(connection, page, names, site, day)
            for name in names:
                text = said.get(name)
                answer = LeftEmpty() if text is None else Value(text, typed=True)
                about = tuple(one for one in told if name == one.fields[0])
                answers.append(FieldAnswer(readings[name], answer, told=about))
        add_answer(connection, study, answers, by, reason)
    return photo


def printed_fields(study: Study) -> list[list[str]]:
    """The names of the fields of each printed page, in printed order."""
    order = [spec.name for spec in study.fields]
    pages = [{cell.field for cell in page.cells} for page in lay_out(study).pages]
    return [[name for name in order if name in on_page] for on_page in pages]


def _photo(connection: Connection, photo_id: int | None) -> int:
    if photo_id is not None:
        must_have_photo(connection, photo_id)
        return photo_id
    return insert_row(
        connection, schema.photos, sha256=secrets.token_hex(32), name=NAME, original="", bytes=0,
        received_at=now(), status=TYPED, attempts=0, read_at=now(), program=__version__, model="",
    )  # fmt: skip


def _page(connection: Connection, study: Study, photo_id: int, number: int) -> int:
    s = schema.page_instances.c
    here = (s.photo_id == photo_id) & (s.layout == TYPED) & (s.page == number)
    last = connection.scalar(select(func.max(s.position)).where(here))
    position = 0 if last is None else last + 1
    return insert_row(
        connection, schema.page_instances, photo_id=photo_id, frame=0, position=position,
        identity=new_identity(connection, photo_id, study.key, TYPED, number, position),
        study=study.key, layout=TYPED, sheet=BLANK, page=number,
        wording=keep_wording(connection, as_text(wording_of(study))),
    )  # fmt: skip


def _readings(
    connection: Connection, page: int, names: Sequence[str], site: str | None, day: str | None
) -> dict[str, int]:
    """A run that read nothing, and the ids of its readings by field."""
    values = {
        "page_instance_id": page, "attempt": 0, "at": now(), "program": __version__, "model": "",
        "identified_by": TYPED, "px_per_mm": 0.0, "blur_mm": 0.0, "contrast": 0.0,
        "hidden_boxes": 0, "glare_share": 0.0, "advice": "", "site": site, "visit_date": day,
        "outline": "[]", "threshold": 0.0,
    }  # fmt: skip
    insert_run(connection, values, [FieldReading(n, None, 0.0, "empty", ()) for n in names], {})
    r, k = schema.readings.c, schema.reading_runs.c
    query = select(r.field, r.id).join_from(schema.readings, schema.reading_runs)
    here = connection.execute(query.where(k.page_instance_id == page))
    return {row.field: row.id for row in here}
