"""Numbered changes of the schema; each commits in one transaction with its own mark.

A process that dies in the middle of one leaves the record as it was before it. New records walk
the same path as old ones, so that there is one way to the present schema.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, Engine, Table, func, insert, inspect, select

from sheet_reader import __version__
from sheet_reader.errors import RecordError
from sheet_reader.record import checksum_triggers, checksums, former_schema, schema
from sheet_reader.record.guards import guard
from sheet_reader.record.model import now
from sheet_reader.record.renaming import rename_all


@dataclass(frozen=True, slots=True)
class Migration:
    """``apply`` changes the schema by one step; ``version`` numbers run 1, 2, 3 …"""

    version: int
    name: str
    apply: Callable[[Connection], None]


def _first_tables(connection: Connection) -> None:
    later = {"schema_marks", "overruled", "about", "seals"}
    tables = [t for t in former_schema.metadata.sorted_tables if t.name not in later]
    former_schema.metadata.create_all(connection, tables=tables, checkfirst=False)


def _guard_history(connection: Connection) -> None:
    guard(connection, "looks", "readings", "decisions")


def _add_overruled(connection: Connection) -> None:
    """Note with each decision what the person knew.

    Of older decisions that is not known; where another photo contradicts one of them, a person is
    asked once more.
    """
    _add_column(connection, "decisions", "looks_before", "INTEGER")
    former_schema.overruled.create(connection)
    guard(connection, "overruled")


def _thresholds(connection: Connection) -> None:
    """Keep with each reading run from which confidence on it accepted."""
    _add_column(connection, "looks", "threshold", "FLOAT")


def _circumstances(connection: Connection) -> None:
    """A photo refused before is read once more: what its refusal depended on is not known."""
    _add_column(connection, "photos", "circumstances", "VARCHAR(64) DEFAULT '' NOT NULL")


def _add_column(connection: Connection, table: str, name: str, kind: str) -> None:
    """Unless it is there: the first step of later programs made it at once."""
    if name not in {column["name"] for column in inspect(connection).get_columns(table)}:
        connection.exec_driver_sql(f"ALTER TABLE {table} ADD COLUMN {name} {kind}")


def _reasons(connection: Connection) -> None:
    """Reasons as data; those kept in words stay in ``reason``."""
    for table in ("photos", "readings"):
        _add_column(connection, table, "reasons", "TEXT")


def _notes(connection: Connection) -> None:
    """Tables for notes and checksums; step 7 fills the latter, or takes them over."""
    for table in (former_schema.about, former_schema.seals):
        table.create(connection)


def _letters(connection: Connection) -> None:
    """What letters asked of volunteers, and what people remarked about visits and pages."""
    for table in (schema.drafts, schema.remarks):
        table.create(connection)
        checksum_triggers.create(connection, [table.name])


def _answers(connection: Connection) -> None:
    """Which decisions are one answer, and what the person was told of."""
    _add_column(connection, "decisions", "answer", "INTEGER")
    _add_column(connection, "decisions", "told", "TEXT")


def _evidence(connection: Connection) -> None:
    """What a page was decoded from, and under which rules; which names mean the same."""
    blob = "BLOB" if connection.dialect.name == "sqlite" else "BYTEA"
    _add_column(connection, "page_instances", "decoded_under", "VARCHAR(120)")
    _add_column(connection, "reading_runs", "evidence", blob)
    _add_column(connection, "reading_runs", "decoded_from", "INTEGER")
    for table in (schema.wordings, schema.meanings, schema.site_labels):
        table.create(connection)
        checksum_triggers.create(connection, [table.name])
        guard(connection, table.name)
    _add_column(connection, "page_instances", "wording", "INTEGER")


def _sheet_decisions(connection: Connection) -> None:
    """Decisions about whole sheets and photos, and why something was decided."""
    _add_column(connection, "decisions", "reason", "TEXT")
    table = schema.sheet_decisions
    table.create(connection)
    guard(connection, table.name)
    checksum_triggers.create(connection, [table.name])


def _leases(connection: Connection) -> None:
    """Who is shown which question now."""
    schema.leases.create(connection)


def _remarks_of_mail(connection: Connection) -> None:
    """Which photo the mail with a remark brought."""
    _add_column(connection, "remarks", "photo_id", "INTEGER")


def _blind_answers(connection: Connection) -> None:
    """What each of two people made of a field."""
    table = schema.blind_answers
    table.create(connection)
    guard(connection, table.name)
    checksum_triggers.create(connection, [table.name])


def _photos_by_name(connection: Connection) -> None:
    """So that the look for a photo of the same name does not go through all of them."""
    schema.PHOTOS_BY_NAME.create(connection, checkfirst=True)


MIGRATIONS: tuple[Migration, ...] = (
    Migration(1, "tables", _first_tables),
    Migration(2, "append-only history", _guard_history),
    Migration(3, "what decisions overruled", _add_overruled),
    Migration(4, "threshold of a reading run", _thresholds),
    Migration(5, "what a refusal depended on", _circumstances),
    Migration(6, "notes", _notes),
    Migration(7, "standard names, checksums", rename_all),
    Migration(8, "reasons as data", _reasons),
    Migration(9, "letters and remarks", _letters),
    Migration(10, "answers of several decisions", _answers),
    Migration(11, "what pages were decoded from", _evidence),
    Migration(12, "decisions about sheets", _sheet_decisions),
    Migration(13, "leases of questions", _leases),
    Migration(14, "remarks of mail", _remarks_of_mail),
    Migration(15, "blind answers of two people", _blind_answers),
    Migration(16, "photos by name", _photos_by_name),
)


def version_of(connection: Connection) -> int:
    """The version of the record's schema; 0 where there is none yet."""
    steps = _steps_table(connection)
    return 0 if steps is None else int(connection.scalar(select(func.max(steps.c.version))) or 0)


def _steps_table(connection: Connection) -> Table | None:
    """The table of the steps taken, under its present or its former name."""
    known = inspect(connection)
    tables = (schema.schema_version, former_schema.marks)
    return next((table for table in tables if known.has_table(table.name)), None)


def migrate(engine: Engine, migrations: Sequence[Migration] = MIGRATIONS) -> list[str]:
    """Bring the record up to date; returns the names of the steps taken.

    ``engine`` must begin writing transactions with its write lock taken, so that of two processes
    the second finds the work done. Raises :class:`RecordError` where the record was written by a
    newer program.
    """
    latest = migrations[-1].version
    with engine.connect() as connection:
        found = version_of(connection)
    if found > latest:
        raise RecordError(
            f"the record has version {found}, this program knows versions up to {latest}",
            remedy="install the newer sheet_reader",
        )
    return [m.name for m in migrations if m.version > found and _step(engine, m)]


def _step(engine: Engine, migration: Migration) -> bool:
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        _lock_schema(connection)
        if _steps_table(connection) is None:
            former_schema.marks.create(connection)
        if version_of(connection) >= migration.version:
            return False
        was_known = checksums.schema_is_known(connection)
        with checksums.kept(connection):
            migration.apply(connection)
        steps = _steps_table(connection)
        assert steps is not None
        connection.execute(
            insert(steps).values(
                version=migration.version,
                name=migration.name,
                applied_at=now(),
                program=__version__,
            )
        )
        if was_known:
            checksums.note_schema(connection)
    return True


def _lock_schema(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("SELECT pg_advisory_xact_lock(737465)")
