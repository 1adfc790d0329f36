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

from sheet_reader.record.engine import URL_VARIABLE
from sheet_reader.record.migrations import MIGRATIONS, migrate, version_of
from sheet_reader.record.store import Record
from sheet_reader.record.verify import verify

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


def test_an_older_record_on_the_server_is_brought_up_to_date(  # type: ignore[no-untyped-def]
    study, post, empty_schema: str
) -> None:
    """One photo with a decision, under the names of version 6."""
    engine = create_engine(empty_schema)
    migrate(engine, MIGRATIONS[:6])
    with engine.begin() as connection:
        for statement in SIX.strip().splitlines():
            connection.execute(text(statement))
    engine.dispose()
    with Record.open(study) as record:
        row = next(r for r in record.readings() if r.field == "sun.eggs")
        assert (row.value, row.status, row.read_value) == ("5", "corrected", "3")
        with pytest.raises(DBAPIError, match="only ever added to"), record.engine.connect() as c:
            c.execute(text("DELETE FROM reading_runs"))
    assert post(says({"site": "1010"})).read == 1
    problems = verify(study).problems
    assert [p for p in problems if "original is missing" not in p] == []


SIX = """
INSERT INTO photos (sha256, name, original, bytes, received_at, status, reason, attempts, program, model) VALUES ('aa', 'a.png', 'originals/aa/aa.png', 1, '2026', 'read', '', 1, '0.1.0', 'm')
INSERT INTO sightings (photo_id, frame, position, study, layout, sheet, page) VALUES (1, 0, 0, 'ponds', 'v1', '1004', 1)
INSERT INTO looks (sighting_id, attempt, at, program, model, identified_by, px_per_mm, blur_mm, contrast, hidden_boxes, glare_share, advice, site, visit_date, outline) VALUES (1, 1, '2026', '0.1.0', 'm', 'machine code', 8, 0.1, 0.8, 0, 0, '', '1004', '2026-05-20', '[]')
INSERT INTO readings (look_id, field, value, confidence, status, reason, runner_up_confidence, corners, boxes_png, context_png) VALUES (1, 'sun.eggs', '3', 0.6, 'flagged', 'unclear', 0, '[]', '', '')
INSERT INTO readings (look_id, field, value, confidence, status, reason, runner_up_confidence, corners, boxes_png, context_png) VALUES (1, 'date', '2026-05-20', 0.999, 'accepted', '', 0, '[]', '', '')
INSERT INTO decisions (sighting_id, field, reading_id, kind, value, by, at, program, blind, looks_before) VALUES (1, 'sun.eggs', 1, 'value', '5', 'Ada', '2026', '0.1.0', false, 1)
"""  # noqa: E501
