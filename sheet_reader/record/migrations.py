"""Numbered changes of the schema; each commits in one transaction with its own mark.

A process that dies in the middle of one leaves the record as it was before it. New records walk
the same path as old ones, so that there is one way to the present schema.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, Engine, func, insert, inspect, select

from sheet_reader import __version__
from sheet_reader.errors import RecordError
from sheet_reader.record import schema, seal_triggers, seals
from sheet_reader.record.model import now


@dataclass(frozen=True, slots=True)
class Migration:
    """``apply`` changes the schema by one step; ``version`` numbers grow"""

    version: int
    name: str
    apply: Callable[[Connection], None]


def _first_tables(connection: Connection) -> None:
    later = (
        schema.marks.name,
        schema.overruled.name,
        schema.about.name,
        schema.seals.name,
        schema.drafts.name,
        schema.remarks.name,
    )
    tables = [t for t in schema.metadata.sorted_tables if t.name not in later]
    schema.metadata.create_all(connection, tables=tables, checkfirst=False)


def _guard_history(connection: Connection) -> None:
    _guard(connection, "looks", "readings", "decisions")


def _guard(connection: Connection, *tables: str) -> None:
    """Let the database itself refuse to change or remove what was read and decided."""
    for table in tables:
        if connection.dialect.name == "sqlite":
            for verb in ("UPDATE", "DELETE"):
                connection.exec_driver_sql(
                    f"CREATE TRIGGER {table}_keep_{verb.lower()} BEFORE {verb} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{table} is only ever added to'); END"
                )
        else:
            connection.exec_driver_sql(
                f"CREATE FUNCTION {table}_keep() RETURNS trigger LANGUAGE plpgsql AS "
                f"$$ BEGIN RAISE EXCEPTION '{table} is only ever added to'; END $$"
            )
            connection.exec_driver_sql(
                f"CREATE TRIGGER {table}_keep BEFORE UPDATE OR DELETE ON {table} "
                f"FOR EACH ROW EXECUTE FUNCTION {table}_keep()"
            )


def _add_overruled(connection: Connection) -> None:
    """Note with each decision what the person knew.

    Of older decisions that is not known; where another photo contradicts one of them, a person is
    asked once more.
    """
    columns = {c["name"] for c in inspect(connection).get_columns(schema.decisions.name)}
    if "looks_before" not in columns:
        connection.exec_driver_sql("ALTER TABLE decisions ADD COLUMN looks_before INTEGER")
    schema.overruled.create(connection)
    _guard(connection, "overruled")


def _thresholds(connection: Connection) -> None:
    """Keep with each look from which confidence on it accepted."""
    columns = {column["name"] for column in inspect(connection).get_columns("looks")}
    if "threshold" not in columns:
        connection.exec_driver_sql("ALTER TABLE looks ADD COLUMN threshold FLOAT")


def _circumstances(connection: Connection) -> None:
    """A photo refused before is looked at once more: what its refusal depended on is not known."""
    have = {column["name"] for column in inspect(connection).get_columns("photos")}
    if "circumstances" not in have:
        connection.exec_driver_sql(
            "ALTER TABLE photos ADD COLUMN circumstances VARCHAR(64) DEFAULT '' NOT NULL"
        )


def _seal_rows(connection: Connection) -> None:
    """A checksum for every row; what an older record holds is taken as it is."""
    tables = [schema.about, schema.seals]
    schema.metadata.create_all(connection, tables=tables, checkfirst=False)
    seal_triggers.create(connection, seal_triggers.there(connection))
    seals.seal_all(connection)


def _letters(connection: Connection) -> None:
    """What letters asked, and what was answered."""
    tables = [schema.drafts, schema.remarks]
    schema.metadata.create_all(connection, tables=tables, checkfirst=False)
    seal_triggers.create(connection, [table.name for table in tables])


MIGRATIONS: tuple[Migration, ...] = (
    Migration(1, "tables", _first_tables),
    Migration(2, "append-only history", _guard_history),
    Migration(3, "what decisions overruled", _add_overruled),
    Migration(4, "threshold of a look", _thresholds),
    Migration(5, "what a refusal depended on", _circumstances),
    Migration(6, "seals", _seal_rows),
    Migration(20, "letters and remarks", _letters),
)


def version_of(connection: Connection) -> int:
    """The version of the record's schema; 0 where there is none yet."""
    if not inspect(connection).has_table(schema.marks.name):
        return 0
    return int(connection.scalar(select(func.max(schema.marks.c.version))) or 0)


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
        schema.marks.create(connection, checkfirst=True)
        if version_of(connection) >= migration.version:
            return False
        with seals.kept(connection):
            migration.apply(connection)
        connection.execute(
            insert(schema.marks).values(
                version=migration.version,
                name=migration.name,
                applied_at=now(),
                program=__version__,
            )
        )
        seals.note_schema(connection)
    return True


def _lock_schema(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("SELECT pg_advisory_xact_lock(737465)")
