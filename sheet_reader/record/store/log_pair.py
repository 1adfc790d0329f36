"""Does a write-ahead log belong to the record beside it?

SQLite plays a log into whatever file lies beside it: where a backup was put over a record that a
killed program had left a log of, the two are mixed. So each writing transaction leaves a mark in
the header of the database (``user_version``), beside that of the one before (``application_id``);
both are part of the log, too. A log belongs to a file that bears one of its marks, or the one
before its first. Offsets: https://www.sqlite.org/fileformat2.html, sections 1.3 and 4.1.
"""

from __future__ import annotations

import contextlib
import secrets
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection

from sheet_reader.errors import RecordError

_MAGIC = frozenset({0x377F0682, 0x377F0683})
_HEADER, _FRAME, _MARKS_END = 32, 24, 72
_LOOKS = 5
_BETWEEN_SECONDS = 0.02


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
            found = _mark_in(file)  # first: a log that is written meanwhile still holds it
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


def _mark_in(file: Path) -> int:
    with file.open("rb") as stream:
        head = stream.read(_MARKS_END)
    return _marks(head)[0] if len(head) == _MARKS_END else 0


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
