"""The one change that the history allows: who decided, made unknown.

The database refuses every change of a decision (see migrations). Within one writing transaction
the refusal of changes is taken away, the names are replaced, and it is put back; nobody else can
write in between, and an interruption leaves everything as it was.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from sqlalchemy import Connection, Table, update

from sheet_reader.record import schema

NOBODY = "forgotten person"


def forget_names(
    connection: Connection, ids: Sequence[int], table: Table = schema.decisions
) -> None:
    """Replace who took these decisions (or answered, in another ``table``) by :data:`NOBODY`;
    nothing else of them changes.

    ``connection`` must be inside a writing transaction.
    """
    if not ids:
        return
    with _changes_allowed(connection, table.name):
        for number in ids:
            connection.execute(update(table).where(table.c.id == number).values(by=NOBODY))


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
