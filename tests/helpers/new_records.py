"""Walking all the steps of a new record takes longer than a copy, and most tests begin with one.

The program makes one such record in each process of tests; in a test, an empty file is filled with
a copy of it. Tests of how a record is made take ``made_by_all_steps`` from here, which leaves the
program as it is; so do all processes that tests start.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from pathlib import Path

import pytest
import stand_in
from sqlalchemy import Engine

from sheet_reader.record.store import store
from sheet_reader.record.store.engine import RECORD_FILE
from sheet_reader.record.store.migrations import migrate

_one_at_a_time = threading.Lock()


@pytest.fixture(scope="session")
def new_record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record as the program makes it, with nothing in it."""
    folder = tmp_path_factory.mktemp("new")
    with store.Record.open(stand_in.a_study(folder)):
        pass
    assert [path.name for path in folder.iterdir()] == [RECORD_FILE]
    return folder / RECORD_FILE


@pytest.fixture(autouse=True)
def copied_records(new_record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """New records of SQLite are copies of ``new_record``."""

    def copy_or_migrate(engine: Engine) -> list[str]:
        file = Path(engine.url.database or "")
        if engine.dialect.name == "sqlite":
            with _one_at_a_time:
                if file.stat().st_size == 0:
                    copy(new_record, file)
        return migrate(engine)

    monkeypatch.setattr(store, "migrate", copy_or_migrate)


def copy(record: Path, file: Path) -> None:
    """Fill ``file``, whose rights stay as they are."""
    with (
        contextlib.closing(sqlite3.connect(record)) as new,
        contextlib.closing(sqlite3.connect(file)) as empty,
    ):
        new.backup(empty)


@pytest.fixture
def made_by_all_steps() -> None:
    """Import it as ``copied_records`` where records are to be made by the program itself."""
