"""Sheets typed in by hand, with or without a photo beside them.

A typed sheet is a page like any other: it has a reading of every printed field that read nothing,
and beside each a decision of the person who typed. So it is merged, corrected, set aside and undone
as others are. Where there is no photo, a line in ``photos`` stands for it that has no original.
"""

from __future__ import annotations

import secrets
from collections.abc import Collection, Mapping, Sequence

from sqlalchemy import Connection, func, insert, select

from sheet_reader import __version__
from sheet_reader.errors import UsageError
from sheet_reader.record.history import answering
from sheet_reader.record.history.answers import FieldAnswer, LeftEmpty, SumTold, Value
from sheet_reader.record.history.deciding import checked_value
from sheet_reader.record.history.found import new_identity
from sheet_reader.record.history.meaning_answers import keep_wording
from sheet_reader.record.history.mending import checked_reason
from sheet_reader.record.history.states import TYPED
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.layout import lay_out
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.days import now
from sheet_reader.study.former import as_text, wording_of
from sheet_reader.study.model import Study
from sheet_reader.wording import neutral_name

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
    site, day = (_key(study, said, kind) for kind in ("site", "date"))
    reason = checked_reason(reason)
    with record.writing() as connection:
        photo = _photo(connection, photo_id)
        answers: list[FieldAnswer] = []
        for number, names in enumerate(printed_fields(study), start=1):
            page = _page(connection, study, photo, number)
            readings = _readings(connection, page, names, site, day)
            for name, reading in readings.items():
                text = said.get(name)
                answer = LeftEmpty() if text is None else Value(text, typed=True)
                about = tuple(one for one in told if name == one.fields[0])
                answers.append(FieldAnswer(reading, answer, told=about))
        answering.add_answer(connection, study, answers, by, reason)
    return photo


def printed_fields(study: Study) -> list[list[str]]:
    """The names of the fields of each printed page, in printed order."""
    order = [spec.name for spec in study.fields]
    pages = [{cell.field for cell in page.cells} for page in lay_out(study).pages]
    return [[name for name in order if name in on_page] for on_page in pages]


def _key(study: Study, said: Mapping[str, str | None], kind: str) -> str:
    field = next(h for h in study.header if h.kind == kind)
    text = said.get(field.name)
    if text is None:
        raise UsageError(f"{field.label}: a sheet typed in needs its {kind}")
    return text


def _photo(connection: Connection, photo_id: int | None) -> int:
    p = schema.photos.c
    if photo_id is not None:
        if connection.scalar(select(p.id).where(p.id == photo_id)) is None:
            raise UsageError(f"there is no {neutral_name(photo_id)} in the record")
        return photo_id
    added = connection.execute(
        insert(schema.photos).values(
            sha256=secrets.token_hex(32), name=NAME, original="", bytes=0, received_at=now(),
            status=TYPED, attempts=0, read_at=now(), program=__version__, model="",
        )
    ).inserted_primary_key  # fmt: skip
    assert added is not None
    return int(added[0])


def _page(connection: Connection, study: Study, photo_id: int, number: int) -> int:
    s = schema.page_instances.c
    here = (s.photo_id == photo_id) & (s.layout == TYPED) & (s.page == number)
    last = connection.scalar(select(func.max(s.position)).where(here))
    position = 0 if last is None else last + 1
    added = connection.execute(
        insert(schema.page_instances).values(
            photo_id=photo_id, frame=0, position=position,
            identity=new_identity(connection, photo_id, study.key, TYPED, number, position),
            study=study.key, layout=TYPED, sheet=BLANK, page=number,
            wording=keep_wording(connection, as_text(wording_of(study))),
        )
    ).inserted_primary_key  # fmt: skip
    assert added is not None
    return int(added[0])


def _readings(
    connection: Connection, page: int, names: Sequence[str], site: str, day: str
) -> dict[str, int]:
    """A run that read nothing, and the ids of its readings by field."""
    run = connection.execute(
        insert(schema.reading_runs).values(
            page_instance_id=page, attempt=0, at=now(), program=__version__, model="",
            identified_by=TYPED, px_per_mm=0.0, blur_mm=0.0, contrast=0.0, hidden_boxes=0,
            glare_share=0.0, advice="", site=site, visit_date=day, outline="[]",
            threshold=0.0,
        )
    ).inserted_primary_key  # fmt: skip
    assert run is not None
    lines = [
        {
            "run_id": int(run[0]), "field": name, "value": None, "confidence": 0.0,
            "status": "empty", "runner_up": None, "runner_up_confidence": 0.0,
            "corners": "[]", "boxes_png": b"", "context_png": b"",
        }
        for name in names
    ]  # fmt: skip
    connection.execute(insert(schema.readings), lines)
    r = schema.readings.c
    found = connection.execute(select(r.field, r.id).where(r.run_id == int(run[0])))
    ids = {row.field: row.id for row in found}
    return {name: ids[name] for name in names}
