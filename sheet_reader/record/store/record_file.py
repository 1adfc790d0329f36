"""A record that is a SQLite file: who may read and write it, its log, and copies of it.

Does a write-ahead log belong to the record beside it? SQLite plays a log into whatever file lies
beside it: where a backup was put over a record that a killed program had left a log of, the two are
mixed. So each writing transaction leaves a mark in the header of the database (``user_version``),
beside that of the one before (``application_id``); both are part of the log, too. A log belongs to
a file that bears one of its marks, or the one before its first. Offsets:
https://www.sqlite.org/fileformat2.html, sections 1.3 and 4.1.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import sqlite3
import struct
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine

from sheet_reader.atomic import PRIVATE_FILE, PRIVATE_FOLDER, tighten
from sheet_reader.errors import RecordError, StorageError
from sheet_reader.numbers import RECORD
from sheet_reader.record.originals import originals
from sheet_reader.record.store.engine import (
    BUSY_SECONDS,
    LOGS,
    RECORD_FILE,
    connect_unchanged,
    open_engine,
    sqlite_url,
    unchanging_engine,
)
from sheet_reader.record.store.migrations import MIGRATIONS, migrate, version_of

_MAGIC = frozenset({0x377F0682, 0x377F0683})
_HEADER, _FRAME, _MARKS_END = 32, 24, 72
_LOOKS = 5
_BETWEEN_SECONDS = 0.02


def may_write(file: Path) -> bool:
    """Whether this process may change the record at ``file``, and make files beside it."""
    effective = os.access in os.supports_effective_ids
    paths = (file.parent, file) if file.exists() else (file.parent,)
    return all(os.access(path, os.W_OK, effective_ids=effective) for path in paths)


def must_be_writable(file: Path) -> None:
    """Raises :class:`StorageError` where the record can only be looked at."""
    if not may_write(file):
        raise StorageError(
            "the record cannot be written: you may not write in this folder", where=file,
            remedy="history, verify and export --out work; for all else copy the study elsewhere",
        )  # fmt: skip


def make_private(folder: Path) -> None:
    """Make an empty record where there is none, and bar all others from it and the originals.

    What belongs to another owner is left as it is. Raises OSError.
    """
    file = folder / RECORD_FILE
    with contextlib.suppress(FileExistsError):
        make_empty(file)
    for ending in ("", *LOGS):
        tighten(file.with_name(file.name + ending), PRIVATE_FILE)
    root = originals.root_of(folder)
    kept = (root if isinstance(root, Path) else folder) / originals.FOLDER
    if kept.is_dir() and tighten(kept, PRIVATE_FOLDER):
        for path in (*kept.glob("*"), *kept.glob("*/*")):
            tighten(path, PRIVATE_FOLDER if path.is_dir() else PRIVATE_FILE)


def make_empty(file: Path) -> None:
    """Make a new file for its owner alone; raises FileExistsError where there is one."""
    os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, PRIVATE_FILE))


@contextmanager
def marked(connection: Connection) -> Iterator[None]:
    """Leave a mark if the transaction changes anything in between; on SQLite only."""
    raw = connection.connection.driver_connection
    if connection.dialect.name != "sqlite" or raw is None:
        yield
        return
    before = raw.total_changes
    yield
    if raw.total_changes != before:
        last = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
        connection.exec_driver_sql(f"PRAGMA application_id = {last}")
        mark = secrets.randbelow(2**31 - 1) + 1
        connection.exec_driver_sql(f"PRAGMA user_version = {mark}")


def must_be_a_pair(file: Path) -> None:
    """Raises :class:`RecordError` where the log beside the record ``file`` is not its own. Nothing
    is changed; other programs may be writing both.
    """
    for look in range(_LOOKS):
        with contextlib.suppress(FileNotFoundError):
            with file.open("rb") as stream:  # first: a log that is written meanwhile still holds it
                head = stream.read(_MARKS_END)
            found = _marks(head)[0] if len(head) == _MARKS_END else 0
            marks = list(_marks_in(file.with_name(f"{file.name}-wal")))
            if marks and found not in {marks[0][1], *(now for now, _ in marks)}:
                if look < _LOOKS - 1:  # the log was begun anew meanwhile, or so it seems
                    time.sleep(_BETWEEN_SECONDS)
                    continue
                raise RecordError(
                    f"{file.name}-wal beside the record belongs to another state of it: was a "
                    "backup put over the record?",
                    where=file,
                    remedy="touch neither; to go on from it: sheet-reader restore STUDY BACKUP",
                )
        return


def _marks(page: bytes) -> tuple[int, int]:
    """The mark and the one before it, from the first page of a database."""
    mark, _, before = struct.unpack_from(">iii", page, 60)
    return mark, before


def _marks_in(log: Path) -> Iterator[tuple[int, int]]:
    """The marks in the frames of a log that SQLite would play, in their order."""
    with log.open("rb") as stream:
        header = stream.read(_HEADER)
        if len(header) < _HEADER or struct.unpack_from(">I", header)[0] not in _MAGIC:
            return
        size = struct.unpack_from(">I", header, 8)[0]
        step = _FRAME + (65536 if size == 1 else size)
        place = _HEADER
        while len(frame := stream.read(_FRAME + _MARKS_END)) == _FRAME + _MARKS_END:
            if frame[8:16] != header[16:24]:
                return  # left over from before the log was begun anew
            if struct.unpack_from(">I", frame)[0] == 1:
                yield _marks(frame[_FRAME:])
            place += step
            stream.seek(place)


def copy_record(source: Path, target: Path) -> None:
    """Copy a SQLite record as it is at one moment, whatever other processes write; also one in a
    folder that may not be written.
    """
    must_be_a_pair(source)
    try:
        if may_write(source):
            copy_live(sqlite3.connect(source, timeout=BUSY_SECONDS), target, RECORD.backup_pages)
        else:
            with for_reading(source) as view:
                copy_live(view.connect(), target)
                view.must_be_unchanged()
    except sqlite3.Error as error:
        raise StorageError(f"the record cannot be copied: {error}", where=source) from error


def copy_live(live: sqlite3.Connection, target: Path, pages: int = -1) -> None:
    """Copy a SQLite database as it is at one moment, whatever others write; closes ``live``."""
    make_empty(target)
    with contextlib.closing(live), contextlib.closing(sqlite3.connect(target)) as copy:
        live.execute(f"PRAGMA busy_timeout = {BUSY_SECONDS * 1000}")
        live.execute("BEGIN")  # one reading transaction: writers go on and do not restart it
        live.execute("SELECT count(*) FROM sqlite_master").fetchone()
        live.backup(copy, pages=pages)
        copy.execute("PRAGMA journal_mode = DELETE")
        live.rollback()


@contextmanager
def copied(file: Path) -> Iterator[Path]:
    """A copy of a record that may not be written, in a private folder of its own, while it lasts.

    It holds what a killed program has left in the write-ahead log too.
    """
    with tempfile.TemporaryDirectory(prefix="sheet-reader-") as place:
        target = Path(place, RECORD_FILE)
        try:
            copy_live(sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True), target)
        except sqlite3.Error:
            target.unlink(missing_ok=True)
            for ending in ("", "-wal"):
                with contextlib.suppress(FileNotFoundError):
                    shutil.copyfile(f"{file}{ending}", f"{target}{ending}")
        yield target


@dataclass(frozen=True, slots=True)
class ReadOnlyView:
    """An engine to look at the record ``file`` with; ``state`` is how the file was. ``connect``
    opens what the engine reads, the file or a copy.
    """

    engine: Engine
    file: Path
    state: tuple[int, int]
    connect: Callable[[], sqlite3.Connection]

    def must_be_unchanged(self) -> None:
        """Raises :class:`RecordError` where another program wrote the file meanwhile."""
        if _state(self.file) != self.state:
            raise RecordError(
                "the record changed while it was looked at", where=self.file, remedy="try again"
            )


def _state(file: Path) -> tuple[int, int]:
    found = file.stat()
    return found.st_mtime_ns, found.st_size


@contextmanager
def for_reading(file: Path) -> Iterator[ReadOnlyView]:
    """A way to look at a record without changing it: the file itself where all of it is there, in
    the present version, else a copy. Raises OSError and errors of the database.
    """
    with contextlib.ExitStack() as stack:
        if not file.with_name(f"{file.name}-wal").exists():
            state = _state(file)
            engine = unchanging_engine(file)
            stack.callback(engine.dispose)
            with engine.connect() as connection:
                present = version_of(connection) == MIGRATIONS[-1].version
            if present:
                yield ReadOnlyView(engine, file, state, lambda: connect_unchanged(file))
                return
        copy = stack.enter_context(copied(file))
        engine = open_engine(sqlite_url(copy))
        stack.callback(engine.dispose)
        migrate(engine)
        yield ReadOnlyView(engine, file, _state(file), lambda: sqlite3.connect(copy))
