from __future__ import annotations

import contextlib
import sqlite3
import threading
from pathlib import Path

import pytest
import stand_in
from new_records import made_by_all_steps as copied_records  # noqa: F401
from sqlalchemy import Connection, Dialect, Engine, event, inspect, text

from sheet_reader.errors import RecordError
from sheet_reader.lab.schema_text import DIALECTS, schema_text
from sheet_reader.reading.batch import read_batch
from sheet_reader.record.store.engine import open_engine, sqlite_url
from sheet_reader.record.store.migrations import MIGRATIONS, SCRIPTS, Migration, migrate, version_of
from sheet_reader.record.store.schema import APPEND_ONLY
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study


@pytest.fixture
def engine(tmp_path: Path):  # type: ignore[no-untyped-def]
    made = open_engine(sqlite_url(tmp_path / "r.sqlite"))
    yield made
    made.dispose()


def version(engine: Engine) -> int:
    with engine.connect() as connection:
        return version_of(connection)


def test_a_new_record_takes_few_statements(study: Study) -> None:
    """Counted, not timed: nearly all of them are the tables, indexes and triggers."""
    seen: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_: object) -> None:
        seen.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        with Record.open(study):
            pass
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    made = [statement for statement in seen if statement.lstrip().startswith("CREATE")]
    assert len(made) > 80
    assert len(seen) - len(made) < 60


def test_a_new_record_walks_all_steps_once(engine: Engine) -> None:
    assert migrate(engine) == [m.name for m in MIGRATIONS]
    assert migrate(engine) == []
    assert version(engine) == MIGRATIONS[-1].version
    assert [m.version for m in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))


def test_a_step_that_fails_leaves_neither_tables_nor_mark(engine: Engine) -> None:
    def half_done(connection: Connection) -> None:
        connection.execute(text("CREATE TABLE half (id INTEGER)"))
        connection.execute(text("INSERT INTO half VALUES (1)"))
        raise RuntimeError("power cut")

    migrate(engine)
    latest = MIGRATIONS[-1].version
    steps = (*MIGRATIONS, Migration(latest + 1, "half done", half_done))
    with pytest.raises(RuntimeError, match="power cut"):
        migrate(engine, steps)
    assert version(engine) == latest
    assert not inspect(engine).has_table("half")
    good = Migration(latest + 1, "done", lambda c: c.execute(text("CREATE TABLE half (id INT)")))
    assert migrate(engine, (*MIGRATIONS, good)) == ["done"]
    assert inspect(engine).has_table("half")


def test_two_processes_migrate_at_once(tmp_path: Path) -> None:
    done: list[list[str]] = []

    def run() -> None:
        engine = open_engine(sqlite_url(tmp_path / "r.sqlite"))
        done.append(migrate(engine))
        engine.dispose()

    runs = [threading.Thread(target=run) for _ in range(4)]
    for thread in runs:
        thread.start()
    for thread in runs:
        thread.join()
    assert sorted(name for names in done for name in names) == sorted(m.name for m in MIGRATIONS)


def test_a_newer_record_is_refused(study: Study) -> None:
    with Record.open(study):
        pass
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        raw.execute("INSERT INTO schema_version VALUES (999, 'later', '', '9')")
        raw.commit()
    with pytest.raises(RecordError, match="newer sheet_reader"):
        Record.open(study)


@pytest.mark.parametrize(
    "table", APPEND_ONLY
)
@pytest.mark.parametrize("verb", ["UPDATE {} SET id = id + 1", "DELETE FROM {}"])
def test_the_database_itself_guards_the_history(study: Study, table: str, verb: str) -> None:
    with Record.open(study):
        pass
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        raw.execute("PRAGMA foreign_keys = OFF")
        columns = [
            (c[1], c[2]) for c in raw.execute(f"PRAGMA table_info({table})") if c[1] != "undoes"
        ]
        marks = ", ".join("1" if kind != "VARCHAR" else "'x'" for _, kind in columns)
        names = ", ".join(f'"{name}"' for name, _ in columns)
        raw.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})")
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            raw.execute(verb.format(table))


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda dialect: dialect.name)
def test_the_frozen_text_is_what_the_tables_say(dialect: Dialect) -> None:
    """Until the first release; then the text stays and tables change by steps."""
    frozen = SCRIPTS / f"version_1_{dialect.name}.sql"
    assert frozen.read_text(encoding="utf-8") == schema_text(dialect)


@pytest.mark.parametrize(
    "tables",
    [
        "CREATE TABLE schema_marks (version INTEGER, name TEXT, applied_at TEXT, program TEXT);"
        "INSERT INTO schema_marks VALUES (6, 'notes', '', '0.1.0')",
        "CREATE TABLE schema_version (version INTEGER, name TEXT, applied_at TEXT, program TEXT);"
        "INSERT INTO schema_version VALUES (1, 'tables', '', '0.1.0'), (16, 'photos', '', '')",
    ],
)
@pytest.mark.parametrize("for_reading", [False, True])
def test_a_record_of_a_trial_version_is_refused_and_left_alone(
    study: Study, tables: str, for_reading: bool
) -> None:
    file = study.folder / "record.sqlite"
    with contextlib.closing(sqlite3.connect(file)) as raw:
        raw.executescript(tables)
        before = list(raw.iterdump())
    with pytest.raises(RecordError, match="trial version") as told:
        Record.open(study, for_reading=for_reading)
    assert "export its tables with the program that made it" in str(told.value.remedy)
    with contextlib.closing(sqlite3.connect(file)) as raw:
        assert list(raw.iterdump()) == before


def test_a_new_record_is_made_in_few_statements(engine: Engine) -> None:
    said: list[str] = []
    event.listen(engine, "before_cursor_execute", lambda *about: said.append(about[2]))
    migrate(engine)
    assert len(said) < 120


def test_a_record_of_the_former_version_reads_its_refused_photos_once_more(study: Study) -> None:
    (study.folder / "inbox" / "p.png").write_bytes(stand_in.photo("the code is covered"))
    read_batch(study, reader=stand_in.read, jobs=0)
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        raw.execute("UPDATE photos SET circumstances = ''")  # as the migration leaves them
        raw.commit()
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 1
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 0
