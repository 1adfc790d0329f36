"""Errors of the database are told apart by the driver's codes, whatever the words."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError, OperationalError

from sheet_reader.errors import UnavailableError
from sheet_reader.record.store.engine import Kind, kind_of, open_engine, sqlite_url, translated


class Told(Exception):  # noqa: N818 - stands for errors of drivers
    """An error with a driver's code and no words."""

    def __init__(self, **codes: object) -> None:
        super().__init__("")
        self.__dict__.update(codes)


@pytest.mark.parametrize(
    ("codes", "kind"),
    [
        ({"sqlite_errorcode": 13}, "full"),
        ({"sqlite_errorcode": 10 | (4 << 8)}, "full"),  # SQLITE_IOERR_FSYNC
        ({"sqlite_errorcode": 8 | (4 << 8)}, "read-only"),  # SQLITE_READONLY_DBMOVED
        ({"sqlite_errorcode": 5}, "busy"),
        ({"sqlite_errorcode": 6}, "busy"),
        ({"sqlite_errorcode": 15}, "busy"),
        ({"sqlite_errorcode": 26}, "damaged"),
        ({"sqlite_errorcode": 19}, "other"),
        ({"sqlstate": "53100"}, "full"),
        ({"sqlstate": "25006"}, "read-only"),
        ({"sqlstate": "08006"}, "unreachable"),
        ({"sqlstate": "23505"}, "other"),
        ({"sqlstate": None}, "other"),
    ],
)
def test_codes_tell_what_went_wrong(codes: dict[str, object], kind: Kind) -> None:
    """Codes from sqlite.org/rescode.html and PostgreSQL's appendix of error codes."""
    assert kind_of(DBAPIError("SELECT 1", {}, Told(**codes))) == kind


PASSING = {
    "ConnectionException": "unreachable", "ConnectionDoesNotExist": "unreachable",
    "ConnectionFailure": "unreachable", "ProtocolViolation": "unreachable",
    "SqlclientUnableToEstablishSqlconnection": "unreachable",
    "AdminShutdown": "unreachable", "CrashShutdown": "unreachable",
    "CannotConnectNow": "unreachable", "IdleSessionTimeout": "unreachable",
    "TooManyConnections": "unreachable",
    "SerializationFailure": "busy", "DeadlockDetected": "busy", "LockNotAvailable": "busy",
    "ObjectInUse": "busy", "QueryCanceled": "busy", "IdleInTransactionSessionTimeout": "busy",
}  # fmt: skip
"""By the names that psycopg gives to PostgreSQL's codes."""


@pytest.mark.parametrize(("name", "kind"), PASSING.items())
def test_what_passes_by_itself_says_try_again_later(name: str, kind: Kind) -> None:
    errors = pytest.importorskip("psycopg.errors")
    error = DBAPIError("SELECT 1", {}, getattr(errors, name)())
    assert kind_of(error) == kind
    told = translated(error, "there")
    assert isinstance(told, UnavailableError)
    assert told.exit_code == 75
    assert "nothing is lost" in told.remedy


def test_a_connection_lost_in_a_statement_is_unreachable() -> None:
    lost = DBAPIError("SELECT 1", {}, Told(sqlstate=None), connection_invalidated=True)
    assert kind_of(lost) == "unreachable"


def test_a_server_that_is_not_reached_has_no_statement() -> None:
    assert kind_of(DBAPIError(None, None, Told(sqlstate=None))) == "unreachable"  # type: ignore[arg-type]


def test_a_file_that_is_no_database_is_damaged(tmp_path: Path) -> None:
    file = tmp_path / "r.sqlite"
    file.write_bytes(b"no database" * 100)
    engine = open_engine(sqlite_url(file))
    with pytest.raises(DBAPIError) as raised:
        engine.connect()
    engine.dispose()
    assert kind_of(raised.value) == "damaged"


def test_words_in_a_value_are_no_reason(tmp_path: Path) -> None:
    """A message that quotes “readonly” or “locked” is not about the file."""
    engine = open_engine(sqlite_url(tmp_path / "r.sqlite"))
    with engine.connect() as connection, pytest.raises(OperationalError) as raised:
        connection.execute(text("SELECT * FROM readonly_locked_malformed"))
    engine.dispose()
    assert kind_of(raised.value) == "other"


def test_a_record_kept_busy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sheet_reader.record.store.engine.BUSY_SECONDS", 0)
    file = tmp_path / "r.sqlite"
    with contextlib.closing(sqlite3.connect(file)) as other:
        other.execute("CREATE TABLE t (x)")
        other.commit()
        engine = open_engine(sqlite_url(file))
        with engine.connect():
            pass
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(DBAPIError) as raised, engine.connect() as plain:
            plain.execution_options(writes=True).begin()
        engine.dispose()
    assert kind_of(raised.value) == "busy"
