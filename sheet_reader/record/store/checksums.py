"""A checksum for every row, so that damage and edits by other programs are found.

Triggers of the database leave the checksum of each written row open (``""``), that of one removed
as ``-``; :func:`kept` closes those of its own transaction. What another program wrote is never
closed, which tells it. Checksums find accidents and careless edits; who forges the checksums as
well is not found.
"""

from __future__ import annotations

import hashlib
import sqlite3
import struct
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from itertools import groupby
from typing import Any, NamedTuple

from sqlalchemy import (
    ColumnClause,
    Connection,
    Float,
    Select,
    Table,
    bindparam,
    case,
    column,
    delete,
    insert,
    select,
    table,
    update,
)

from sheet_reader.numbers import RECORD
from sheet_reader.record.store import schema


class CheckedTable(NamedTuple):
    """What a row of a table is called; and what its checksum notes beside the row, as the triggers
    write it: the row's owner (a row of another table), and its field.
    """

    noun: str
    owner: str = "NULL"
    field: str = "''"


_OF_PAGE = "NEW.page_instance_id"
TABLES = {
    "photos": CheckedTable("the photo"),
    "origins": CheckedTable("a note of where it came from", "NEW.photo_id"),
    "mail_messages": CheckedTable("a note of a mail"),
    "page_instances": CheckedTable("a page seen", "NEW.photo_id"),
    "reading_runs": CheckedTable("a reading of the page", _OF_PAGE),
    "readings": CheckedTable("the value read", "NEW.run_id", "NEW.field"),
    "decisions": CheckedTable("a decision", _OF_PAGE, "NEW.field"),
    "overruled": CheckedTable("a value that a decision overruled", _OF_PAGE),
    "sheet_decisions": CheckedTable("a decision about the sheet", "NEW.photo_id"),
    "drafts": CheckedTable("a note of what a letter asked"),
    "remarks": CheckedTable("a remark on a visit", _OF_PAGE),
    "meanings": CheckedTable("an answer about changed words"),
    "wordings": CheckedTable("the words on a sheet"),
    "site_labels": CheckedTable("what a site was called"),
    "blind_answers": CheckedTable("what one of two people made of a field", _OF_PAGE, "NEW.field"),
    "about": CheckedTable("a note on the record itself"),
}
CHECKED: tuple[Table, ...] = tuple(schema.metadata.tables[name] for name in TABLES)
SCHEMA_NOTE = "schema"
EDITED, REMOVED, REUSED, GONE = "edited", "removed", "reused", "-"
"""Marks in place of a checksum: a row that another program wrote, one that it removed (the number
of which may have been given anew), and one just removed.
"""


@contextmanager
def kept(connection: Connection) -> Iterator[None]:
    """Note, at the end, the checksum of every row that was written in between; that of a row that
    is gone goes too.

    ``connection`` is inside a writing transaction. Checksums that stood open before are marked
    as the work of another program.
    """
    s = schema.row_checksums.c
    in_order = select(s.table_name, s.row_id).where(schema.OPEN_CHECKSUMS).order_by(s.table_name)
    if connection.execute(in_order).first():
        marked = case((s.digest == "", EDITED), else_=REMOVED)
        connection.execute(
            update(schema.row_checksums).where(schema.OPEN_CHECKSUMS).values(digest=marked)
        )
    yield
    for name, rows in groupby(connection.execute(in_order).all(), lambda row: row.table_name):
        ids = [row.row_id for row in rows]
        for start in range(0, len(ids), RECORD.checksum_rows):
            some = ids[start : start + RECORD.checksum_rows]
            _close(connection, schema.metadata.tables[name], some)


def _close(connection: Connection, of: Table, ids: Sequence[int]) -> None:
    s = schema.row_checksums.c
    here = (s.table_name == of.name) & (s.row_id == bindparam("row"))
    digests = dict(digests_of(connection, of, ids))
    found = [{"row": row_id, "now": digest} for row_id, digest in digests.items()]
    gone = [{"row": row_id} for row_id in ids if row_id not in digests]
    if found:
        noting = update(schema.row_checksums).where(here).values(digest=bindparam("now"))
        connection.execute(noting, found)
    if gone:
        connection.execute(delete(schema.row_checksums).where(here), gone)


def digests_of(
    connection: Connection, of: Table, ids: Collection[int] | None = None
) -> Iterator[tuple[int, str]]:
    """Id and checksum of the rows of a table: of all, or of those with these ids."""
    names = sorted(c.name for c in of.columns)
    columns: list[ColumnClause[Any]] = [column(name) for name in names]
    query: Select[Any] = select(*columns).select_from(table(of.name))
    if ids is not None:
        query = query.where(column("id").in_(ids))
    floats = frozenset(c.name for c in of.columns if isinstance(c.type, Float))
    place = names.index("id")
    some = {"yield_per": RECORD.checksum_rows}
    for row in connection.execute(query, execution_options=some):
        yield row[place], digest_of(names, row, floats)


def digest_of(names: Sequence[str], values: Sequence[Any], floats: Collection[str] = ()) -> str:
    """The checksum of a row, the same on every database; columns that hold nothing do not count,
    so that new ones can be added. ``floats`` names the columns that hold floating point numbers.
    """
    digest = hashlib.blake2b(digest_size=16)
    for name, value in zip(names, values, strict=True):
        if value is None:
            continue
        kind, data = _plain(float(value) if name in floats and type(value) is int else value)
        digest.update(f"{name}:{kind}{len(data)}:".encode())
        digest.update(data)
    return digest.hexdigest()


def _plain(value: Any) -> tuple[str, bytes]:
    if isinstance(value, str):
        return "t", value.encode("utf-8", "surrogateescape")
    if isinstance(value, float):
        return "f", struct.pack(">d", value)
    if isinstance(value, int):
        return "i", str(int(value)).encode()
    return "b", bytes(value)


def note_schema(connection: Connection) -> None:
    """Keep a checksum of the tables, indexes, triggers and steps of a SQLite record."""
    if connection.dialect.name != "sqlite":
        return
    with kept(connection):
        connection.execute(delete(schema.about).where(schema.about.c.name == SCHEMA_NOTE))
        note = insert(schema.about).values(name=SCHEMA_NOTE, value=_schema_digest(connection))
        connection.execute(note)


def schema_is_known(connection: Connection) -> bool:
    """Whether the schema is as it was noted; on a server nobody notes it."""
    if connection.dialect.name != "sqlite":
        return True
    return schema.notes(connection, SCHEMA_NOTE) == [_schema_digest(connection)]


def _schema_digest(connection: Connection) -> str:
    """The checksum of the present schema of a SQLite record, and of the steps that led to it."""
    queries = (
        "SELECT type, name, tbl_name, sql FROM sqlite_master "
        "WHERE name NOT LIKE 'sqlite_stat%' ORDER BY type, name",
        "SELECT version, name, applied_at, program FROM schema_version ORDER BY version",
    )
    digest = hashlib.blake2b(digest_size=16)
    for query in queries:
        for row in connection.exec_driver_sql(query):
            digest.update(digest_of("abcd", row).encode())
    return digest.hexdigest()


def text_as_bytes(connection: Connection) -> None:
    """Let text that is damaged beyond UTF-8 be read, so that it can be told."""
    raw = connection.connection.driver_connection
    if isinstance(raw, sqlite3.Connection):
        raw.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
