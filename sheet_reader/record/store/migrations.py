"""Numbered changes of the schema; each commits in one transaction with its own mark.

A process that dies in the middle of one leaves the record as it was before it. New records walk
the same path as old ones, so that there is one way to the present schema. A step that has been
released is frozen text.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, insert, inspect, select

from sheet_reader import __version__
from sheet_reader.errors import RecordError
from sheet_reader.record.store import checksums, schema
from sheet_reader.study.days import now

SCRIPTS = Path(__file__).parent
BETWEEN = "\n\n"
"""What stands between two statements of a script."""
FORMER_STEPS = "schema_marks"
"""The table of steps in the earliest trial records."""


@dataclass(frozen=True, slots=True)
class Migration:
    """``apply`` changes the schema by one step; ``version`` numbers run 1, 2, 3 …"""

    version: int
    name: str
    apply: Callable[[Connection], None]


def _first_release(connection: Connection) -> None:
    """All tables, indexes and triggers, from frozen text: what a later program calls its schema
    does not reach back into this step.
    """
    script = SCRIPTS / f"version_1_{connection.dialect.name}.sql"
    whole = connection.execution_options(no_parameters=True)
    for statement in script.read_text(encoding="utf-8").split(BETWEEN):
        whole.exec_driver_sql(statement)


MIGRATIONS: tuple[Migration, ...] = (Migration(1, "first release", _first_release),)


def version_of(connection: Connection) -> int:
    """The version of the record's schema; 0 where there is none yet.

    Raises :class:`RecordError` for a record of a trial version from before the first release.
    """
    known = set(inspect(connection).get_table_names())
    if schema.schema_version.name in known:
        steps = schema.schema_version.c
        found = connection.execute(select(steps.version, steps.name).order_by(steps.version)).all()
        if not found:
            return 0
        if found[0].name == MIGRATIONS[0].name:
            return int(found[-1].version)
    elif FORMER_STEPS not in known:
        return 0
    raise RecordError(
        "the record was made by a trial version from before the first release",
        remedy="export its tables with the program that made it; to have its photos read by this "
        "one, move the folder originals into the inbox of a new study",
    )


def must_be_present(engine: Engine, where: str) -> None:
    """Raises :class:`RecordError` where a record on a server, of which no copy can be made here,
    has no tables yet: looking at it may not make them.
    """
    with engine.connect() as connection:
        if version_of(connection) != MIGRATIONS[-1].version:
            what = "the record has no tables yet, and looking at it may not make them"
            raise RecordError(what, where=where, remedy="the next read makes them")


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
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("SELECT pg_advisory_xact_lock(737465)")
        found = version_of(connection)
        if found >= migration.version:
            return False
        was_known = found == 0 or checksums.schema_is_known(connection)
        with checksums.kept(connection) if found else nullcontext():
            migration.apply(connection)
        step = {"version": migration.version, "name": migration.name, "applied_at": now(),
                "program": __version__}  # fmt: skip
        connection.execute(insert(schema.schema_version).values(step))
        if was_known:
            checksums.note_schema(connection)
    return True
