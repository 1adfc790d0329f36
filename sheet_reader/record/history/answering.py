"""Keep answers of several decisions, about fields or a sheet, and take them back whole.

Functions that take a connection are inside a writing transaction: an answer is kept whole or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Connection, func, select

from sheet_reader.errors import OvertakenError
from sheet_reader.record.history import deciding, sheets
from sheet_reader.record.history.answers import FieldAnswer
from sheet_reader.record.history.loading import UNDO
from sheet_reader.record.store import schema
from sheet_reader.study.model import Study

if TYPE_CHECKING:
    from sheet_reader.record.store.store import Record


@dataclass(frozen=True, slots=True)
class SheetAnswer:
    """What is decided of a page that bears no such field, or as a whole: its ``site`` or ``date``
    is ``value`` (it ``was`` another), or it is set ``aside``.
    """

    photo_id: int
    page_instance_id: int
    kind: sheets.SheetKind
    value: str | None = None
    was: str | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Kept:
    """The ids of the decisions of an answer: about fields, and about a sheet."""

    fields: tuple[int, ...] = ()
    sheet: int | None = None


def keep(
    record: Record,
    fields: Sequence[FieldAnswer],
    by: str,
    *,
    sheet: SheetAnswer | None = None,
    instead_of: Kept | None = None,
    since: int | None = None,
) -> Kept:
    """Keep an answer, on the disk when this returns; an earlier one ``instead_of`` which it stands
    is taken back with it. Raises :class:`UsageError` where a decision cannot be, and
    :class:`OvertakenError` where somebody has decided the same since the decision ``since``.
    """
    with record.writing() as connection:
        if since is not None:
            _must_be_first(connection, fields, since)
        if instead_of is not None:
            take_back(connection, instead_of.fields, by)
            _take_back_sheet(connection, instead_of.sheet, by)
        kept = add_answer(connection, record.study, fields, by)
        number = None if sheet is None else _add_sheet(connection, record.study, sheet, by)
    return Kept(kept, number)


def _must_be_first(connection: Connection, fields: Sequence[FieldAnswer], since: int) -> None:
    d, r, k = schema.decisions.c, schema.readings.c, schema.reading_runs.c
    query = (
        select(d.by)
        .join_from(schema.decisions, schema.reading_runs, k.page_instance_id == d.page_instance_id)
        .join(schema.readings, (r.run_id == k.id) & (r.field == d.field))
        .where(d.id > since, r.id.in_([one.reading_id for one in fields]))
    )
    by = connection.scalar(query.limit(1))
    if by is not None:
        raise OvertakenError(f"{by} has just answered this question")


def _add_sheet(connection: Connection, study: Study, sheet: SheetAnswer, by: str) -> int:
    value = sheet.value
    if value is not None:
        name = next(h.name for h in study.header if h.kind == sheet.kind)
        value = deciding.checked_value(study, name, value)
    return sheets.add_sheet_decision(
        connection,
        sheet.photo_id,
        sheet.page_instance_id,
        sheet.kind,
        by=by,
        reason=sheet.reason,
        value=value,
        was=sheet.was,
    )


def _take_back_sheet(connection: Connection, number: int | None, by: str) -> None:
    c = schema.sheet_decisions.c
    undone = select(c.undoes).where(c.undoes.is_not(None))
    query = select(c.photo_id, c.page_instance_id, c.value, c.was)
    row = connection.execute(query.where(c.id == number, c.id.not_in(undone))).one_or_none()
    if row is not None:
        sheets.add_sheet_decision(
            connection, row.photo_id, row.page_instance_id, "undo", by=by, undoes=number,
            value=row.was, was=row.value,
        )  # fmt: skip


def add_answer(
    connection: Connection,
    study: Study,
    answers: Sequence[FieldAnswer],
    by: str,
    reason: str = "",
) -> tuple[int, ...]:
    """Add the decisions of one answer, with the ``reason`` given; gives their ids. Raises
    :class:`UsageError` where one of them cannot be.
    """
    last = connection.scalar(select(func.max(schema.decisions.c.id))) or 0
    return tuple(
        deciding.add_decision(
            connection,
            study,
            one.reading_id,
            one.answer,
            by,
            blind=one.blind,
            rivals=one.rivals,
            told=one.told,
            number=int(last) + 1,
            reason=reason,
        )
        for one in answers
    )


def take_back(connection: Connection, decisions: Sequence[int], by: str) -> None:
    """Take back those of these decisions that still stand."""
    d = schema.decisions.c
    undone = select(d.undoes).where(d.undoes.is_not(None))
    query = (
        select(d.id, d.page_instance_id, d.field, d.reading_id)
        .where(d.id.in_(decisions), d.kind != UNDO, d.id.not_in(undone))
        .order_by(d.id)
    )
    for row in connection.execute(query).all():
        deciding.add_undo(connection, row, by)
