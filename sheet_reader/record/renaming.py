"""Step 7: tables and columns get the names of :mod:`sheet_reader.record.schema`.

Triggers name tables, and checksums columns, so both are made anew. A row that did not fit its
former checksum stays marked as the work of another program.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, insert, select, update

from sheet_reader.record import checksum_triggers, checksums, former_schema, schema
from sheet_reader.record.guards import guard

TABLES = {
    "schema_marks": "schema_version",
    "letters": "mail_messages",
    "sightings": "page_instances",
    "looks": "reading_runs",
}
COLUMNS = (
    ("reading_runs", "sighting_id", "page_instance_id"),
    ("readings", "look_id", "run_id"),
    ("decisions", "sighting_id", "page_instance_id"),
    ("decisions", "looks_before", "runs_before"),
    ("overruled", "sighting_id", "page_instance_id"),
)
GUARDED = ("looks", "readings", "decisions", "overruled")
GUARDED_THEN = tuple(TABLES.get(name, name) for name in GUARDED)
"""The same tables under their present names."""


def rename_all(connection: Connection) -> None:
    """Rename, and make triggers and checksums anew. ``connection`` is in a writing transaction."""
    with _any_text(connection):
        foreign = list(_foreign_rows(connection))
        _drop_triggers(connection)
        connection.exec_driver_sql("DROP TABLE seals")
        _rename(connection)
        schema.row_checksums.create(connection)
        guard(connection, *GUARDED_THEN)
        checksum_triggers.create(connection, checksum_triggers.there(connection))
        checksums.add_missing(connection)
        for row in foreign:
            _mark(connection, row)


@contextmanager
def _any_text(connection: Connection) -> Iterator[None]:
    """Text damaged beyond UTF-8 is carried along, for ``verify`` to tell."""
    raw = connection.connection.driver_connection
    checksums.text_as_bytes(connection)
    yield
    if isinstance(raw, sqlite3.Connection):
        raw.text_factory = str


@dataclass(frozen=True, slots=True)
class _Foreign:
    """A row that another program wrote or removed, and the mark it gets in place of a checksum."""

    table: str
    row_id: int
    owner: int | None
    field: str
    mark: str


def _foreign_rows(connection: Connection) -> Iterator[_Foreign]:
    """Rows that do not fit their former checksums; none in a record that had no checksums yet."""
    noted: dict[str, dict[int, Any]] = {}
    for row in connection.execute(select(former_schema.seals)):
        noted.setdefault(row.table_name, {})[row.row_id] = row
    for name, (owner, field) in former_schema.OWNERS.items() if noted else ():
        query = f"SELECT id, {owner}, {field} FROM {name}"
        places = {row[0]: (row[1], row[2]) for row in connection.exec_driver_sql(query)}
        left = noted.get(name, {})
        new = TABLES.get(name, name)
        for row_id, digest in checksums.digests_of(connection, former_schema.metadata.tables[name]):
            place = places.get(row_id, (None, ""))
            known = left.pop(row_id, None)
            if known is None:
                yield _Foreign(new, row_id, *place, checksums.EDITED)
            elif known.digest in (checksums.REMOVED, checksums.REUSED, checksums.GONE):
                mark = checksums.REUSED if known.digest == checksums.REUSED else checksums.REMOVED
                yield _Foreign(new, row_id, known.owner, known.field, mark)
            elif (known.digest, known.owner, known.field) != (digest, *place):
                yield _Foreign(new, row_id, *place, checksums.EDITED)
        for row_id, known in left.items():
            yield _Foreign(new, row_id, known.owner, known.field, checksums.REMOVED)


def _mark(connection: Connection, row: _Foreign) -> None:
    c = schema.row_checksums.c
    values = {"owner": row.owner, "field": row.field, "digest": row.mark}
    here = update(schema.row_checksums).where(c.table_name == row.table, c.row_id == row.row_id)
    if connection.execute(here.values(values)).rowcount == 0:
        place = {"table_name": row.table, "row_id": row.row_id}
        connection.execute(insert(schema.row_checksums).values(place | values))


def _drop_triggers(connection: Connection) -> None:
    verbs = ("insert", "update", "delete")
    names = [f"{table}_seal_{verb}" for table in former_schema.OWNERS for verb in verbs]
    if connection.dialect.name == "sqlite":
        names += [f"{table}_keep_{verb}" for table in GUARDED for verb in ("update", "delete")]
        for name in names:
            connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS {name}")
        return
    for name in [*names, *(f"{table}_keep" for table in GUARDED)]:
        connection.exec_driver_sql(f"DROP FUNCTION IF EXISTS {name}() CASCADE")


def _rename(connection: Connection) -> None:
    for old, new in TABLES.items():
        connection.exec_driver_sql(f"ALTER TABLE {old} RENAME TO {new}")
        if connection.dialect.name == "postgresql" and old != "schema_marks":
            connection.exec_driver_sql(f"ALTER SEQUENCE {old}_id_seq RENAME TO {new}_id_seq")
    for table, old, new in COLUMNS:
        connection.exec_driver_sql(f"ALTER TABLE {table} RENAME COLUMN {old} TO {new}")
    connection.exec_driver_sql("DROP INDEX IF EXISTS ix_looks_sighting_id")
    for index in schema.reading_runs.indexes:
        index.create(connection)
