from __future__ import annotations

import contextlib
import sqlite3
import threading
from pathlib import Path

import pytest
import stand_in
from sqlalchemy import Connection, Engine, inspect, text

from sheet_reader.errors import RecordError
from sheet_reader.reading.batch import read_batch
from sheet_reader.record.engine import open_engine, sqlite_url
from sheet_reader.record.migrations import MIGRATIONS, Migration, migrate, version_of
from sheet_reader.record.model import Accept
from sheet_reader.record.store import Record
from sheet_reader.study.model import Study


@pytest.fixture
def engine(tmp_path: Path):  # type: ignore[no-untyped-def]
    made = open_engine(sqlite_url(tmp_path / "r.sqlite"))
    yield made
    made.dispose()


def version(engine: Engine) -> int:
    with engine.connect() as connection:
        return version_of(connection)


def test_a_new_record_walks_all_steps_once(engine: Engine) -> None:
    assert migrate(engine) == [m.name for m in MIGRATIONS]
    assert migrate(engine) == []
    assert version(engine) == MIGRATIONS[-1].version
    versions = [m.version for m in MIGRATIONS]
    assert versions == sorted(set(versions))


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
        raw.execute("INSERT INTO schema_marks VALUES (999, 'later', '', '9')")
        raw.commit()
    with pytest.raises(RecordError, match="newer sheet_reader"):
        Record.open(study)


@pytest.mark.parametrize("table", ["looks", "readings", "decisions", "overruled"])
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


OLD_RECORD = Path(__file__).with_name("record_v2.sql")


def old_record(study: Study) -> None:
    """Two photos and a decision, as version 2 wrote them."""
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        raw.executescript(OLD_RECORD.read_text(encoding="utf-8"))


def test_an_old_record_has_looks_without_a_known_threshold(study: Study) -> None:
    old_record(study)
    with Record.open(study) as record, record.reading() as connection:
        found = connection.execute(text("SELECT threshold FROM looks")).scalars().all()
    assert found
    assert set(found) == {None}


def test_an_old_record_keeps_its_answers_and_asks_once_what_was_overridden(study: Study) -> None:
    """Written by version 2: 21 was decided in one photo, then one with 123 joined unasked."""
    old_record(study)
    with Record.open(study) as record:
        assert {r.value for r in record.readings() if r.status == "corrected"} == {"21"}
        reasons = {w.field: w.reason for w in record.pending()}
        assert reasons["sun.snails"] == (
            "21 was decided from photo-0001, photo-0002 reads 123: which is right?"
        )
        for item in record.pending():
            record.decide(item.reading_id, Accept(), by="Ada")
        assert record.pending() == []
        lines = record.history("1004", "2026-05-20")
        story = [(e.what, e.value, e.serves) for e in lines if e.field == "sun.snails"]
        assert story[-1] == ("accepted as read", "123", True)
        assert ("corrected", "21", False) in story
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            raw.execute("DELETE FROM overruled")
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            raw.execute("UPDATE decisions SET looks_before = 0")


def test_a_record_of_the_former_version_reads_its_refused_photos_once_more(study: Study) -> None:
    (study.folder / "inbox" / "p.png").write_bytes(stand_in.photo("the code is covered"))
    read_batch(study, reader=stand_in.read, jobs=0)
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        raw.execute("UPDATE photos SET circumstances = ''")  # as the migration leaves them
        raw.commit()
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 1
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 0
