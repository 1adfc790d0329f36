"""Decisions as they are kept and taken back: of fields and of whole sheets, all in this one way.

An answer is one or several decisions, kept whole or not at all. Nothing is ever changed or removed:
what is taken back stays, with a decision that undoes it. Functions that take a connection are
inside a writing transaction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Table, insert, select

from sheet_reader import __version__
from sheet_reader.errors import OvertakenError, UsageError
from sheet_reader.record.history.answers import (
    Accept,
    FieldAnswer,
    Kept,
    LeftEmpty,
    SheetAnswer,
    Value,
    told_to_json,
    with_names,
)
from sheet_reader.record.history.meaning import Meanings
from sheet_reader.record.history.meaning_answers import keep_site_label, load_meanings
from sheet_reader.record.history.photos import insert_row
from sheet_reader.record.history.sheets import UNDO, stands
from sheet_reader.record.store import schema
from sheet_reader.study.days import now
from sheet_reader.study.kinds import Refusal
from sheet_reader.study.study import Study

if TYPE_CHECKING:
    from sheet_reader.record.store.store import Record

LONGEST_REASON = 500


def keep(
    record: Record,
    answers: Sequence[FieldAnswer | SheetAnswer],
    by: str,
    *,
    reason: str = "",
    instead_of: Kept | None = None,
    since: int | None = None,
) -> Kept:
    """Keep an answer, on the disk when this returns; an earlier one ``instead_of`` which it stands
    is taken back with it. Raises :class:`UsageError` where a decision cannot be, and
    :class:`OvertakenError` where somebody has decided the same since the decision ``since``.
    """
    with record.writing() as connection:
        if since is not None:
            _must_be_first(connection, answers, since)
        if instead_of is not None:
            take_back(connection, instead_of, by)
        return add_answer(connection, record.study, answers, by, reason)


def _must_be_first(
    connection: Connection, answers: Sequence[FieldAnswer | SheetAnswer], since: int
) -> None:
    d, r, k = schema.decisions.c, schema.readings.c, schema.reading_runs.c
    about = [one.reading_id for one in answers if isinstance(one, FieldAnswer)]
    query = (
        select(d.by)
        .join_from(schema.decisions, schema.reading_runs, k.page_instance_id == d.page_instance_id)
        .join(schema.readings, (r.run_id == k.id) & (r.field == d.field))
        .where(d.id > since, r.id.in_(about))
    )
    by = connection.scalar(query.limit(1))
    if by is not None:
        raise OvertakenError(f"{by} has just answered this question")


def add_answer(
    connection: Connection,
    study: Study,
    answers: Sequence[FieldAnswer | SheetAnswer],
    by: str,
    reason: str = "",
) -> Kept:
    """Add the decisions of one answer, with the ``reason`` given. Raises :class:`UsageError` where
    one of them cannot be: an unknown reading, a value that can't be one, accepting where nothing
    was read.
    """
    said = {"by": by, "reason": checked_reason(reason)}
    meanings = load_meanings(connection, study)
    number = schema.last_id(connection, schema.decisions) + 1
    fields, sheets = [], []
    for one in answers:
        if isinstance(one, SheetAnswer):
            sheets.append(_add_of_sheet(connection, study, one, said))
        else:
            told = said | {"answer": number}
            fields.append(_add_of_field(connection, study, meanings, one, told))
    return Kept(tuple(fields), tuple(sheets))


def _add_of_field(
    connection: Connection, study: Study, meanings: Meanings, one: FieldAnswer, said: dict[str, Any]
) -> int:
    r, k = schema.readings.c, schema.reading_runs.c
    row = connection.execute(
        select(r.field, r.value, r.status, k.page_instance_id)
        .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
        .where(r.id == one.reading_id)
    ).one_or_none()
    if row is None:
        raise UsageError(f"there is no reading {one.reading_id} in the record")
    page = row.page_instance_id
    field = meanings.field(row.field, page)
    kind, value = _kind_and_value(study, field, row.value, row.status, one)
    if value is not None and field == study.keys[0]:
        keep_site_label(connection, study, value)
    told = with_names(one.told, partial(meanings.on_sheet, page_instance_id=page))
    added = _insert(
        connection, schema.decisions, page_instance_id=page, field=row.field,
        reading_id=one.reading_id, kind=kind, value=value, blind=one.blind,
        told=told_to_json(told), **said | {"reason": said["reason"] or None},
    )  # fmt: skip
    overruled = [] if kind == "unreadable" else [r for r in one.rivals if r.value != value]
    if overruled:
        lines = [{"decision_id": added, **asdict(rival)} for rival in dict.fromkeys(overruled)]
        connection.execute(insert(schema.overruled), lines)
    return added


def _kind_and_value(
    study: Study, field: str, read: str | None, status: str, one: FieldAnswer
) -> tuple[str, str | None]:
    """A value equal to the one read counts as accepting it."""
    answer = one.answer
    if isinstance(answer, Accept):
        if read is None and status != "empty":
            raise UsageError("nothing was read here that could be accepted")
        if read is not None and field == study.keys[0]:
            checked_value(study, field, read)
        return ("accept", read) if read is not None else ("empty", None)
    if isinstance(answer, Value):
        value = checked_value(study, field, answer.text)
        if answer.typed:
            return "typed", value
        return ("accept" if value == read else "value"), value
    return ("empty" if isinstance(answer, LeftEmpty) else "unreadable"), None


def _add_of_sheet(
    connection: Connection, study: Study, one: SheetAnswer, said: dict[str, Any]
) -> int:
    value = one.value
    if value is not None:
        value = checked_value(study, study.keys[0 if one.kind == "site" else 1], value)
    if value is not None and one.kind == "site":
        keep_site_label(connection, study, value)
    return _insert_of_sheet(
        connection, photo_id=one.photo_id, page_instance_id=one.page_instance_id, kind=one.kind,
        value=value, was=one.was, **said,
    )  # fmt: skip


def checked_value(study: Study, field: str, text: str) -> str:
    """The value a person typed for ``field``, tidied; raises :class:`UsageError` with what is
    wrong about it. An unusual value is allowed: she has seen the sheet.
    """
    spec = study.spec(field)
    if spec is None:
        raise UsageError(
            f"study.toml has no field {field} now", remedy="if it was renamed, rename it back"
        )
    value = spec.kind.check(study, spec, text)
    if isinstance(value, Refusal):
        raise UsageError(f"{spec.label}: {value.message}")
    return value.text


def checked_reason(text: str) -> str:
    """A reason as it is kept; raises :class:`UsageError` for one that is too long."""
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if len(text) > LONGEST_REASON:
        raise UsageError(f"a reason has at most {LONGEST_REASON} signs, this has {len(text)}")
    return text


def answer_with(connection: Connection, decision_id: int) -> Kept:
    """The whole answer that a decision about a field belongs to."""
    d = schema.decisions.c
    own = select(d.answer).where(d.id == decision_id).scalar_subquery()
    ids = connection.scalars(select(d.id).where((d.id == decision_id) | (d.answer == own)))
    return Kept(tuple(ids))


def take_back(connection: Connection, kept: Kept, by: str, reason: str = "") -> None:
    """Take back those decisions of an answer that still stand."""
    said = {"by": by, "reason": checked_reason(reason)}
    for row in _still_standing(connection, schema.decisions, kept.fields):
        _insert(
            connection, schema.decisions, page_instance_id=row.page_instance_id, field=row.field,
            reading_id=row.reading_id, kind=UNDO, value=None, blind=False, undoes=row.id,
            **said | {"reason": said["reason"] or None},
        )  # fmt: skip
    for row in _still_standing(connection, schema.sheet_decisions, kept.sheets):
        _insert_of_sheet(
            connection, photo_id=row.photo_id, page_instance_id=row.page_instance_id, kind=UNDO,
            value=row.was, was=row.value, undoes=row.id, **said,
        )  # fmt: skip


def _still_standing(connection: Connection, table: Table, ids: Sequence[int]) -> Sequence[Any]:
    query = select(table).where(table.c.id.in_(ids), stands(table))
    return connection.execute(query.order_by(table.c.id)).all()


def _insert_of_sheet(connection: Connection, **values: Any) -> int:
    before = schema.last_id(connection, schema.decisions)
    return _insert(connection, schema.sheet_decisions, decisions_before=before, **values)


def _insert(connection: Connection, table: Table, **values: Any) -> int:
    runs = schema.last_id(connection, schema.reading_runs)
    return insert_row(
        connection, table, at=now(), program=__version__, runs_before=runs, **values
    )
