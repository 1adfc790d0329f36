"""Sheets that a person pointed at in a photo, and took back: what was read of them never counts."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, func, select, update

from sheet_reader.reasons import Code, because, to_json
from sheet_reader.record.history.answers import SheetAnswer
from sheet_reader.record.history.deciding import add_answer
from sheet_reader.record.history.sheets import standing
from sheet_reader.record.store import schema
from sheet_reader.study.model import Study
from sheet_reader.vision.findings import POINTED


def pointed_at(connection: Connection) -> dict[int, int]:
    """The sheets that were read where a person pointed and that count: photo by page instance."""
    s, k = schema.page_instances.c, schema.reading_runs.c
    first = select(func.min(k.id)).group_by(k.page_instance_id)
    query = (
        select(s.id, s.photo_id)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .where(k.identified_by == POINTED, k.id.in_(first))
    )
    gone = standing(connection).withdrawn
    return {page: photo for page, photo in connection.execute(query) if page not in gone}


def withdraw(
    connection: Connection, study: Study, photo_id: int, pages: Iterable[int], by: str
) -> None:
    """Let these sheets of a photo count no more, with all that was decided on them; the photo is
    one without a sheet again. Readings and decisions stay in the record.
    """
    gone = [SheetAnswer(photo_id, page, "withdrawn") for page in pages]
    add_answer(connection, study, gone, by)
    back = update(schema.photos).where(schema.photos.c.id == photo_id)
    reasons = to_json((because(Code.POINTED_BACK),))
    connection.execute(back.values(status="no sheet", reasons=reasons))
