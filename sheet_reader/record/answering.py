"""Keep answers that consist of several decisions, and take them back whole.

Every function takes a connection inside a writing transaction: an answer is kept whole or not.
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection, func, select

from sheet_reader.record import deciding, schema
from sheet_reader.record.answers import FieldAnswer
from sheet_reader.record.loading import UNDO
from sheet_reader.study.model import Study


def add_answer(
    connection: Connection,
    study: Study,
    answers: Sequence[FieldAnswer],
    by: str,
    reason: str = "",
) -> tuple[int, ...]:
    """Add the decisions of one answer, with the ``reason`` given; gives their ids. Raises :class:`UsageError` where one of
    them cannot be.
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
