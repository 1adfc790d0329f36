"""What waits, and answers kept and taken back in the way that the commands do."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import select

from sheet_reader.record.history import deciding, mending
from sheet_reader.record.history.answers import Answer, FieldAnswer, Kept, PlaceKind
from sheet_reader.record.history.states import FieldState, Rival, VisitState
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study


def waiting(study: Study, visits: Iterable[VisitState]) -> list[FieldState]:
    """Everything a person is asked about, field by field: photo by photo, site and date first."""
    order = {s.name: (s.name not in study.keys, n) for n, s in enumerate(study.fields)}
    asked = [e for v in visits for e in v.fields if e.needs_review]
    return sorted(asked, key=lambda w: (w.photo_id, w.page_instance_id, order[w.field]))


def pending(record: Record) -> list[FieldState]:
    """The same of a record now."""
    return waiting(record.study, record.state())


def decide(
    record: Record,
    reading_id: int,
    answer: Answer,
    by: str,
    *,
    blind: bool = False,
    rivals: Sequence[Rival] | None = None,
) -> None:
    """Answer one reading; told of what a question about it names, unless ``rivals`` are given."""
    if rivals is None:
        fields = (e for v in record.state() for e in v.fields)
        rivals = next((e.rivals for e in fields if e.reading_id == reading_id), ())
    deciding.keep(record, [FieldAnswer(reading_id, answer, tuple(rivals), blind=blind)], by)


def move(
    record: Record, page: int, *, by: str, site: str | None = None, visit_date: str | None = None,
    reason: str = "",
) -> None:  # fmt: skip
    """This sheet has another site or visit date, or both."""
    visits = [*record.state(), *record.state_aside()]
    said: list[tuple[PlaceKind, str | None]] = [("site", site), ("date", visit_date)]
    answers = [mending.moved(record.study, visits, page, kind, v) for kind, v in said if v]
    deciding.keep(record, answers, by, reason=reason)


@dataclass(frozen=True)
class Undone:
    """What was taken back: ``reading_id`` None where it was about a sheet, ``page_instance_id``
    None where about a whole photo.
    """

    reading_id: int | None
    page_instance_id: int | None
    photo_id: int


def undo_last(record: Record, by: str) -> Undone | None:
    """Take back the last standing answer of a person, whichever she gave last."""
    d, s, p = schema.decisions.c, schema.sheet_decisions.c, schema.page_instances.c
    with record.writing() as connection:
        gone = select(d.undoes).where(d.undoes.is_not(None))
        field = connection.execute(
            select(d.id, d.reading_id, d.page_instance_id, p.photo_id)
            .join_from(schema.decisions, schema.page_instances)
            .where(d.by == by, d.kind != "undo", d.id.not_in(gone)).order_by(d.id.desc())
        ).first()  # fmt: skip
        gone = select(s.undoes).where(s.undoes.is_not(None))
        sheet = connection.execute(
            select(s.id, s.page_instance_id, s.photo_id, s.decisions_before)
            .where(s.by == by, s.kind != "undo", s.id.not_in(gone)).order_by(s.id.desc())
        ).first()  # fmt: skip
        if sheet is not None and (field is None or field.id <= sheet.decisions_before):
            deciding.take_back(connection, Kept(sheets=(sheet.id,)), by)
            return Undone(None, sheet.page_instance_id, sheet.photo_id)
        if field is None:
            return None
        deciding.take_back(connection, deciding.answer_with(connection, field.id), by)
        return Undone(field.reading_id, field.page_instance_id, field.photo_id)
