"""Is the record what this program wrote? Asked before anything is handed out, so it is cheap.

The structure of the database and every row's checksum are looked at, as :mod:`.verify` does; it
looks at the originals, at references and at impossible values, too.
"""

from __future__ import annotations

from sqlalchemy import Connection, select

from sheet_reader.errors import RecordError
from sheet_reader.record.store import checksums, schema
from sheet_reader.record.store.checksum_faults import NOUNS, checksum_faults
from sheet_reader.record.store.store import Record
from sheet_reader.study.model import Study


def must_be_sound(record: Record) -> None:
    """Raises :class:`RecordError` for a record that is damaged or that another program changed."""
    with record.reading() as connection:
        fault = first_fault(connection, record.study)
    if fault:
        raise RecordError(
            f"the record is damaged, so nothing is handed out: {fault}",
            where=record.where,
            remedy="verify lists all faults; restore puts a backup in its place",
        )


def first_fault(connection: Connection, study: Study | None = None) -> str:
    """The first thing that is wrong, "" for none; by visit and field where there is a ``study``."""
    if connection.dialect.name == "sqlite":
        line = str(connection.exec_driver_sql("PRAGMA quick_check(1)").scalar())
        if line != "ok":
            return f"the database file is damaged: {' '.join(line.split())}"
        if checksums.noted_schema(connection) != [checksums.schema_digest(connection)]:
            return "the schema of the record was changed by another program, or is damaged"
    s = schema.row_checksums.c
    for table in checksums.CHECKED:
        query = select(s.row_id, s.digest).where(s.table_name == table.name)
        noted = {row.row_id: row.digest for row in connection.execute(query)}
        if noted != dict(checksums.digests_of(connection, table)):
            lines = checksum_faults(connection, study) if study is not None else iter(())
            changed = f"{NOUNS[table.name]} was changed by another program, or is damaged"
            return next(lines, changed)
    return ""
