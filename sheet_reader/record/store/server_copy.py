"""A record on a database server as a SQLite file: all rows of one moment, for a backup."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from sqlalchemy import Connection, Engine, delete, insert, select

from sheet_reader.numbers import RECORD
from sheet_reader.record.store import checksums, schema
from sheet_reader.record.store.checksums import SCHEMA_NOTE
from sheet_reader.record.store.engine import open_engine, sqlite_url
from sheet_reader.record.store.migrations import migrate
from sheet_reader.record.store.store import Record
from sheet_reader.study.model import Study


def copy_from_server(study: Study, target: Path) -> None:
    """Write the record that the address names into the new file ``target``, with the rows' numbers
    and checksums as they are, in one transaction on the server whatever others write meanwhile.
    """
    os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    engine = open_engine(sqlite_url(target))
    try:
        migrate(engine)
        with (
            Record.open(study, for_reading=True, of_any_study=True) as record,
            record.reading() as source,
        ):
            _fill(engine, source)
    finally:
        engine.dispose()
    with contextlib.closing(sqlite3.connect(target)) as copy:
        copy.execute("PRAGMA journal_mode = DELETE")


def _fill(engine: Engine, source: Connection) -> None:
    """All rows of ``source``; triggers, which would write rows of their own, come after them."""
    with engine.connect().execution_options(writes=True) as copy, copy.begin():
        triggers = copy.exec_driver_sql(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        ).all()
        for name, _ in triggers:
            copy.exec_driver_sql(f"DROP TRIGGER {name}")
        for table in schema.metadata.sorted_tables:
            copy.execute(delete(table))
            rows = source.execution_options(yield_per=RECORD.checksum_rows).execute(
                select(table).order_by(*table.primary_key.columns)
            )
            for some in rows.mappings().partitions():
                copy.execute(insert(table), [dict(row) for row in some])
        for _, text in triggers:
            copy.exec_driver_sql(text)
        copy.execute(delete(schema.about).where(schema.about.c.name == SCHEMA_NOTE))
        checksums.note_schema(copy)
