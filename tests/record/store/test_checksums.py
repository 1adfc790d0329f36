"""Damage to the record and edits by other programs are found and named."""

from __future__ import annotations

import contextlib
import random
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import decided
import pytest
import stand_in
from stand_in import says
from thorough import every, only

from sheet_reader.errors import RecordError, UsageError
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.reading.written_areas import bare_picture
from sheet_reader.record.history.answers import Value
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.people.erase import erase
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., BatchSummary]


@contextlib.contextmanager
def by_hand(study: Study, *, triggers: bool = True) -> Iterator[sqlite3.Connection]:
    """As with any program for SQLite files, with the guards of the history taken away for a while;
    without ``triggers`` the others too.
    """
    some = "" if not triggers else "AND name LIKE '%_keep_%'"
    query = f"SELECT name, sql FROM sqlite_master WHERE type = 'trigger' {some}"
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        raw.execute("PRAGMA foreign_keys = OFF")
        removed = raw.execute(query).fetchall()
        for name, _ in removed:
            raw.execute(f"DROP TRIGGER {name}")
        yield raw
        for _, statement in removed:
            raw.execute(statement)
        raw.commit()


@pytest.fixture(scope="module")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two photos; in the second the site was not legible and is typed by a person."""
    folder = tmp_path_factory.mktemp("filled")
    (folder / "inbox").mkdir()
    study = stand_in.a_study(folder)
    for count, flagged in enumerate(({"sun.eggs": "3"}, {"site": "1010"})):
        photo = stand_in.photo(says(flagged=flagged), seed=count)
        (folder / "inbox" / f"photo{count + 1}.png").write_bytes(photo)
        read_batch(study, reader=stand_in.read, jobs=0)
    with Record.open(study) as record:
        for item in decided.pending(record):
            said = Value("1022" if item.field == "site" else "4")
            decided.decide(record, item.reading_id, said, by="Ada")
    assert verify(study).problems == ()
    return folder


@pytest.fixture
def filled(filled_once: Path, study: Study) -> Study:
    """A copy of it for each test."""
    shutil.copytree(filled_once, study.folder, dirs_exist_ok=True)
    return study


COPIED_READING = (
    "confidence, status, reasons, runner_up, runner_up_confidence, corners, "
    "boxes_png, context_png"
)
COPIED_RUN = (
    "at, program, model, identified_by, px_per_mm, blur_mm, contrast, hidden_boxes, glare_share, "
    "advice, site, visit_date, outline, threshold, evidence, decoded_from"
)
FIRST, SECOND = "WHERE run_id = 1 AND field = ", "WHERE run_id = 2 AND field = "
EGGS = "WHERE field = 'sun.eggs'"
EDITS = [
    (f"UPDATE readings SET value = '8' {FIRST} 'shade.snails'",
     ["site 1004", "2026-05-20", "shade.snails", "photo1.png"]),
    (f"UPDATE readings SET confidence = 0.5 {SECOND} 'sun.snails'",
     ["site 1022", "2026-05-20", "sun.snails", "photo2.png"]),
    (f"UPDATE readings SET boxes_png = x'00' {FIRST} 'sun.eggs'", ["site 1004", "sun.eggs"]),
    (f"UPDATE readings SET runner_up = NULL {FIRST} 'sun.eggs'", ["site 1004", "sun.eggs"]),
    (f"DELETE FROM readings {SECOND} 'helpers'", ["site 1022", "helpers", "removed"]),
    (f"INSERT INTO readings (id, run_id, field, value, {COPIED_READING}) "
     f"SELECT 900, 1, 'extra', value, {COPIED_READING} FROM readings WHERE id = 1",
     ["site 1004", "extra", "added"]),
    ("UPDATE reading_runs SET site = '1010' WHERE id = 1", ["photo1.png", "page 1"]),
    ("UPDATE reading_runs SET visit_date = '2026-05-21' WHERE id = 2", ["photo2.png", "site 1022"]),
    ("DELETE FROM reading_runs WHERE id = 2", ["photo2.png", "removed"]),
    (f"INSERT INTO reading_runs SELECT 9, page_instance_id, 9, {COPIED_RUN} "
     "FROM reading_runs WHERE id = 1",
     ["photo1.png", "added"]),
    (f"UPDATE decisions SET value = '5' {EGGS}", ["site 1004", "2026-05-20", "sun.eggs"]),
    (f"UPDATE decisions SET \"by\" = 'Bob' {EGGS}", ["site 1004", "sun.eggs"]),
    (f"UPDATE decisions SET blind = 1 - blind {EGGS}", ["site 1004", "sun.eggs"]),
    (f"DELETE FROM decisions {EGGS}", ["site 1004", "sun.eggs", "removed"]),
    ("INSERT INTO decisions (id, page_instance_id, field, reading_id, kind, value, \"by\", at, "
     "program, blind, runs_before) SELECT 9, page_instance_id, field, reading_id, kind, '6', "
     f"\"by\", at, program, blind, runs_before FROM decisions {EGGS}",
     ["site 1004", "sun.eggs", "added"]),
    ("UPDATE page_instances SET sheet = '1010' WHERE id = 1", ["photo1.png", "page 1"]),
    ("UPDATE photos SET received_at = '2020-01-01' WHERE id = 2", ["photo2.png"]),
    ("UPDATE photos SET status = 'no sheet' WHERE id = 2", ["photo2.png"]),
    ("DELETE FROM photos WHERE id = 2", ["photo 2", "removed"]),
    ("UPDATE origins SET sender = 'Kim' WHERE photo_id = 1", ["photo1.png"]),
]  # fmt: skip


@pytest.mark.parametrize(("statement", "named"), EDITS, ids=[s[:60] for s, _ in EDITS])
@pytest.mark.parametrize(
    ("triggers", "then"),
    [(True, "at once"), (False, "after more work"), only(True, "after more work")],
)
def test_an_edit_by_sql_is_found_and_named(
    filled: Study, post: Post, statement: str, named: list[str], triggers: bool, then: str
) -> None:
    with by_hand(filled, triggers=triggers) as raw:
        raw.execute(statement)
    if then == "after more work":
        with contextlib.suppress(RecordError, UsageError):  # it may be missed before
            post(says({"site": "1010", "date": "2026-06-03"}), "later.png")
    problems = verify(filled).problems
    assert any(all(word in line for word in named) for line in problems), problems
    assert all("\n" not in line for line in problems)


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TRIGGER readings_keep_update",
        "DROP TRIGGER decisions_checksum_insert",
        "CREATE TABLE mine (x)",
        "DROP INDEX photos_by_status",
        "UPDATE schema_version SET program = '9.9'",
    ],
)
def test_a_changed_schema_is_found(filled: Study, statement: str) -> None:
    with contextlib.closing(sqlite3.connect(filled.folder / "record.sqlite")) as raw:
        raw.execute(statement)
        raw.commit()
    assert any("schema" in line for line in verify(filled).problems)


def dump(folder: Path) -> list[str] | str:
    """All that can be read from the record, in words."""
    with contextlib.closing(sqlite3.connect(folder / "record.sqlite")) as raw:
        raw.text_factory = bytes
        try:
            tables = raw.execute(
                "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY name"
            ).fetchall()
            lines = [repr(tables)]
            for kind, name, *_ in tables:
                if kind == b"table":
                    rows = raw.execute(f'SELECT rowid, * FROM "{name.decode()}" ORDER BY rowid')
                    lines += map(repr, rows)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            return str(error)
        return lines


@pytest.mark.parametrize("seed", every(3, range(3)))
def test_a_flipped_bit_is_found_or_changes_nothing(filled: Study, seed: int) -> None:
    chance = random.Random(seed)
    file = filled.folder / "record.sqlite"
    for suffix in ("-wal", "-shm"):
        assert not file.with_name(file.name + suffix).exists()
    whole, before = file.read_bytes(), dump(filled.folder)
    found = 0
    for _ in range(30):
        at, bit = chance.randrange(len(whole)), chance.randrange(8)
        damaged = bytearray(whole)
        damaged[at] ^= 1 << bit
        file.write_bytes(damaged)
        try:
            sound = verify(filled).sound
        except RecordError:
            sound = False
        for suffix in ("-wal", "-shm"):
            file.with_name(file.name + suffix).unlink(missing_ok=True)
        file.write_bytes(damaged)
        assert not sound or dump(filled.folder) == before, f"bit {bit} of byte {at}"
        found += not sound
    assert found > 0


def test_eraseting_is_no_fault(filled: Study, post: Post) -> None:
    post(says({"date": "2026-06-01"}), "Pat Doe.png")
    erase(filled, "Pat Doe", bare_picture)
    assert verify(filled).problems == ()
    read_batch(filled, reader=stand_in.read, jobs=0, again=True)
    assert verify(filled).problems == ()


def test_taking_back_and_reading_again_are_no_faults(filled: Study) -> None:
    with Record.open(filled) as record:
        decided.undo_last(record, "Ada")
    read_batch(filled, reader=stand_in.read, jobs=0, again=True)
    assert verify(filled).problems == ()


def test_an_edit_stays_found_when_its_row_is_written_again(filled: Study) -> None:
    with by_hand(filled) as raw:
        raw.execute("UPDATE photos SET name = 'else.png' WHERE id = 1")
    read_batch(filled, reader=stand_in.read, jobs=0, again=True)
    assert any("else.png" in line for line in verify(filled).problems)
