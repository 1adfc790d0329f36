"""The one change that the history allows: who decided, made unknown, and who is named in a reason.

The database refuses every change of a decision (see migrations). Within one writing transaction
the refusal of changes is taken away, the names are replaced, and it is put back; nobody else can
write in between, and an interruption leaves everything as it was.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, null, select, update

from sheet_reader.record import schema

NOBODY = "forgotten person"
REMOVED = "(removed)"
DECISIONS = (schema.decisions, schema.sheet_decisions, schema.same_names, schema.blind_answers)


def decisions_naming(connection: Connection, who: re.Pattern[str]) -> tuple[list[str], int]:
    """Under which name this person took each of her decisions, and how many reasons name her."""
    takers: list[str] = []
    reasons = 0
    for table in DECISIONS:
        said = select(table.c.by, _reason(table).label("why")).order_by(table.c.id)
        for row in connection.execute(said):
            takers += [row.by] if who.search(row.by) else []
            reasons += who.search(row.why or "") is not None
    return takers, reasons


def forget_names(connection: Connection, who: re.Pattern[str]) -> int:
    """Replace who took decisions by :data:`NOBODY` where it is this person, and reasons that name
    her; nothing else changes. Gives the number of decisions.

    ``connection`` must be inside a writing transaction.
    """
    return sum(_forget(connection, table, who) for table in DECISIONS)


def _reason(table: Table) -> ColumnElement[Any]:
    """The column of reasons, nothing in a table without one."""
    return table.c.reason if "reason" in table.c else null()


def _forget(connection: Connection, table: Table, who: re.Pattern[str]) -> int:
    c = table.c
    changed: dict[int, dict[str, str]] = {}
    for row in connection.execute(select(c.id, c.by, _reason(table).label("why"))).all():
        new = {"by": NOBODY} if who.search(row.by) else {}
        if row.why and who.search(row.why):
            new["reason"] = REMOVED
        if new:
            changed[row.id] = new
    if changed:
        with _changes_allowed(connection, table.name):
            for number, new in changed.items():
                connection.execute(update(table).where(c.id == number).values(new))
    return len(changed)


@contextmanager
def _changes_allowed(connection: Connection, name: str) -> Iterator[None]:
    if connection.dialect.name != "sqlite":
        connection.exec_driver_sql(f"ALTER TABLE {name} DISABLE TRIGGER {name}_keep")
        yield
        connection.exec_driver_sql(f"ALTER TABLE {name} ENABLE TRIGGER {name}_keep")
        return
    guard = f"{name}_keep_update"
    sql = connection.exec_driver_sql(
        "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?", (guard,)
    ).scalar_one()
    connection.exec_driver_sql(f"DROP TRIGGER {guard}")
    yield
    connection.exec_driver_sql(sql)
