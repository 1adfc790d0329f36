"""The same record on PostgreSQL: every test of the store and of batches, and what differs."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import database_server
import pytest
import test_batch
import test_store
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError
from stand_in import says

from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.engine import URL_VARIABLE
from sheet_reader.record.store.migrations import MIGRATIONS, migrate, version_of
from sheet_reader.record.store.store import Record

globals().update({n: t for n, t in vars(test_store).items() if n.startswith("test_")})
globals().update({n: t for n, t in vars(test_batch).items() if n.startswith("test_")})
del test_a_worker_that_hangs_or_dies_is_replaced  # noqa: F821 - slow, and no matter of the record
NUMBERS = count(1)


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """Its database "made" holds a new record, of which each test gets a copy."""
    with (
        tempfile.TemporaryDirectory(prefix="pg") as folder,
        database_server.running(Path(folder)) as url,
    ):
        engine = create_engine(database_server.new_database(url, "made"))
        migrate(engine)
        engine.dispose()
        yield url


@pytest.fixture(autouse=True)
def database(server: str, monkeypatch: pytest.MonkeyPatch) -> str:
    url = database_server.new_database(server, f"ponds{next(NUMBERS)}", copy_of="made")
    monkeypatch.setenv(URL_VARIABLE, url)
    return url


@pytest.fixture
def empty_schema(server: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """A place without a record, in a schema of its own."""
    engine = create_engine(server)
    with engine.begin() as connection:
        connection.execute(text("CREATE SCHEMA elsewhere"))
    engine.dispose()
    url = f"{server}&options=-csearch_path%3Delsewhere"
    monkeypatch.setenv(URL_VARIABLE, url)
    return url


def test_the_record_is_on_the_server(study, post, database: str) -> None:  # type: ignore[no-untyped-def]
    post(says())
    assert not (study.folder / "record.sqlite").exists()
    assert verify(study).problems == ()
    with Record.open(study, database) as record, record.reading() as connection:
        assert connection.dialect.name == "postgresql"
        assert version_of(connection) == MIGRATIONS[-1].version


def test_the_server_itself_guards_the_history(study, post) -> None:  # type: ignore[no-untyped-def]
    post(says())
    with Record.open(study) as record:
        for statement in ("UPDATE readings SET value = '1'", "DELETE FROM reading_runs"):
            with (
                pytest.raises(DBAPIError, match="only ever added to"),
                record.engine.connect() as c,
            ):
                c.execute(text(statement))


