from __future__ import annotations

import contextlib
import csv
import sqlite3
import threading
from pathlib import Path

import pytest
import stand_in
from new_records import made_by_all_steps as copied_records  # noqa: F401
from older_record import unpack
from sqlalchemy import Connection, Engine, inspect, text

from sheet_reader.errors import RecordError
from sheet_reader.reading.batch import read_batch
from sheet_reader.record.engine import open_engine, sqlite_url
from sheet_reader.record.migrations import MIGRATIONS, Migration, migrate, version_of
from sheet_reader.record.model import Accept
from sheet_reader.record.store import Record
from sheet_reader.record.verify import verify
from sheet_reader.results.export import export_files
from sheet_reader.results.frames import tables_of
from sheet_reader.results.from_record import facts_of
from sheet_reader.study.model import Study
from sheet_reader.wording import words


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
    "table", ["reading_runs", "readings", "decisions", "overruled", "sheet_decisions"]
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


HERE = Path(__file__).parent


def old_record(study: Study) -> None:
    """Two photos and a decision, as version 2 wrote them."""
    unpack(HERE / "record_v2.sql", study.folder / "record.sqlite")


def test_an_old_record_has_runs_without_a_known_threshold(study: Study) -> None:
    old_record(study)
    with Record.open(study) as record, record.reading() as connection:
        found = connection.execute(text("SELECT threshold FROM reading_runs")).scalars().all()
    assert found
    assert set(found) == {None}


@pytest.fixture
def version_6(study: Study) -> Study:
    """A record as version 6 wrote it: seven photos, one with two sheets, a PDF of three pages, all
    read twice, an eighth that contradicts another; answers of two people, one taken back, one
    given blind.
    """
    unpack(HERE / "record_v6.sql.gz", study.folder / "record.sqlite")
    return study


def checksum_problems(study: Study) -> list[str]:
    """What is wrong with the record; its originals are not kept with the tests."""
    return [line for line in verify(study).problems if "original is missing" not in line]


def lines_of(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def test_a_record_of_version_6_gives_the_same_rows(version_6: Study, tmp_path: Path) -> None:
    with Record.open(version_6) as record:
        export_files(version_6, tables_of(version_6, facts_of(record)), tmp_path / "out")
        kinds = [e.what for e in record.history("1022", "2026-06-15")]
    former = lines_of(HERE / "record_v6_rows.csv")
    rows = lines_of(tmp_path / "out" / "rows.csv")
    assert [line[: len(former[0])] for line in rows] == former
    assert "taken back" in kinds
    with contextlib.closing(sqlite3.connect(version_6.folder / "record.sqlite")) as raw:
        tables = {name for (name,) in raw.execute("SELECT tbl_name FROM sqlite_master")}
        text_of_all = " ".join(sql or "" for (sql,) in raw.execute("SELECT sql FROM sqlite_master"))
        count = raw.execute("SELECT count(*) FROM row_checksums").fetchone()[0]
    assert not tables & {"looks", "sightings", "letters", "seals", "schema_marks"}
    for name in ("looks", "sighting", "letters", "seals", "schema_marks", "look_id"):
        assert name not in text_of_all
    assert count > 100
    assert checksum_problems(version_6) == []


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        (
            "UPDATE decisions SET value = '99' WHERE id = 1",
            "a decision (number 1) was added or changed",
        ),
        ("DELETE FROM readings WHERE id = 9", "was removed by another program"),
        ("INSERT INTO letters VALUES (5, 'box', '1', '2026')", "a note of a mail"),
        ("CREATE TABLE mine (x)", "the schema of the record was changed"),
    ],
)
def test_an_edit_made_before_the_renaming_is_found_after_it(
    version_6: Study, edit: str, told: str
) -> None:
    guards = "SELECT name, sql FROM sqlite_master WHERE name LIKE '%_keep_%'"
    with contextlib.closing(sqlite3.connect(version_6.folder / "record.sqlite")) as raw:
        taken_away = raw.execute(guards).fetchall()
        for name, _ in taken_away:
            raw.execute(f"DROP TRIGGER {name}")
        raw.execute(edit)
        for _, statement in taken_away:
            raw.execute(statement)
        raw.commit()
    with Record.open(version_6):
        pass
    assert any(told in line for line in checksum_problems(version_6))


def test_an_old_record_keeps_its_answers_and_asks_once_what_was_overridden(study: Study) -> None:
    """Written by version 2: 21 was decided in one photo, then one with 123 joined unasked."""
    old_record(study)
    with Record.open(study) as record:
        assert {r.value for r in record.readings() if r.status == "corrected"} == {"21"}
        reasons = {w.field: words(w.reasons) for w in record.pending()}
        assert reasons["sun.snails"] == (
            "21 was decided from photo-0001, photo-0002 reads 123: which is right?"
        )
        for item in record.pending():
            record.decide(item.reading_id, Accept(), by="Ada")
        assert record.pending() == []
        lines = record.history("1004", "2026-05-20")
        story = [(e.what, e.value, e.is_current) for e in lines if e.field == "sun.snails"]
        assert story[-1] == ("accepted as read", "123", True)
        assert ("corrected", "21", False) in story
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            raw.execute("DELETE FROM overruled")
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            raw.execute("UPDATE decisions SET runs_before = 0")


def test_a_record_of_the_former_version_reads_its_refused_photos_once_more(study: Study) -> None:
    (study.folder / "inbox" / "p.png").write_bytes(stand_in.photo("the code is covered"))
    read_batch(study, reader=stand_in.read, jobs=0)
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        raw.execute("UPDATE photos SET circumstances = ''")  # as the migration leaves them
        raw.commit()
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 1
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 0


def test_looking_at_an_older_record_leaves_it_as_it_is(version_6: Study) -> None:
    file = version_6.folder / "record.sqlite"
    before = file.read_bytes()
    assert checksum_problems(version_6) == []
    with Record.open(version_6, for_reading=True) as record:
        assert record.history("1022", "2026-06-15")
        assert not record.folder.joinpath("record.sqlite-wal").exists()
    assert file.read_bytes() == before
