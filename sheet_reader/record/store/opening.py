"""Before a record is opened: is it there, may it be written, and does nobody else see into it?"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Set
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, select

from sheet_reader.atomic import PRIVATE_FILE, PRIVATE_FOLDER, tighten
from sheet_reader.errors import RecordError, StorageError
from sheet_reader.record.originals import originals
from sheet_reader.record.store import schema
from sheet_reader.record.store.engine import (
    BUSY_SECONDS,
    RECORD_FILE,
    URL_VARIABLE,
    connect_unchanged,
    open_engine,
    sqlite_url,
    unchanging_engine,
)
from sheet_reader.record.store.migrations import MIGRATIONS, migrate, version_of
from sheet_reader.record.store.place import must_be_named

ARRIVING = "arriving"
"""Notes the first photo about to be kept, until the record holds photos."""


def may_write(file: Path) -> bool:
    """Whether this process may change the record at ``file``, and make files beside it."""
    effective = os.access in os.supports_effective_ids

    def allowed(path: Path) -> bool:
        return os.access(path, os.W_OK, effective_ids=effective)

    return allowed(file.parent) and (not file.exists() or allowed(file))


def must_be_writable(file: Path) -> None:
    """Raises :class:`StorageError` where the record can only be looked at."""
    if not may_write(file):
        raise StorageError(
            "the record cannot be written: you may not write in this folder",
            where=file,
            remedy="history, verify and export --out work; for all else copy the study elsewhere",
        )


def must_be_present(engine: Engine, where: str) -> None:
    """Raises :class:`RecordError` where a record on a server, of which no copy can be made here,
    has no tables yet: looking at it may not make them.
    """
    with engine.connect() as connection:
        if version_of(connection) != MIGRATIONS[-1].version:
            raise RecordError(
                "the record has no tables yet, and looking at it may not make them",
                where=where,
                remedy="the next read makes them",
            )


def must_not_be_blank(folder: Path) -> None:
    """Raises :class:`RecordError` where there is no record, or one of no bytes, beside photos, and
    :class:`UsageError` where it is kept elsewhere and nobody has said where; asks nothing of a
    record whose address is given.
    """
    if os.environ.get(URL_VARIABLE):
        return
    must_be_named(folder)
    file = folder / RECORD_FILE
    if (not file.exists() or file.stat().st_size == 0) and any(originals.all_kept(folder)):
        state = "is empty" if file.exists() else "is gone"
        raise lost(folder, file, f"the record {state}")


def must_know_its_photos(
    view: Callable[[], contextlib.AbstractContextManager[Connection]], folder: Path, where: str
) -> None:
    """Raises :class:`RecordError` where the record knows no photo, but photos were kept.

    A first run that was killed between keeping a photo and noting it has announced that photo.
    ``view`` gives a connection with a fresh view of the record.
    """
    with view() as connection:
        if knows_photos(connection):
            return
    kept = originals.digests(folder)
    with view() as connection:  # afresh: another run may have announced some meanwhile
        must_know(connection, kept, folder, where)


def must_know(connection: Connection, kept: Set[str], folder: Path, where: str) -> None:
    """The same for originals with the digests ``kept``, listed before the view was taken."""
    if not knows_photos(connection) and not kept <= _announced(connection):
        raise lost(folder, where, "the record knows no photo")


def knows_photos(connection: Connection) -> bool:
    """Whether the record holds any photo."""
    if not inspect(connection).has_table(schema.photos.name):
        return False
    return connection.execute(select(schema.photos.c.id).limit(1)).first() is not None


def _announced(connection: Connection) -> set[str]:
    if not inspect(connection).has_table(schema.about.name):
        return set()
    query = select(schema.about.c.value).where(schema.about.c.name == ARRIVING)
    return set(connection.execute(query).scalars())


def lost(folder: Path, where: Path | str, what: str) -> RecordError:
    """The error for a record that does not belong to the photos kept beside it."""
    count = sum(1 for _ in originals.all_kept(folder))
    photos = "photo lies" if count == 1 else "photos lie"
    own = folder / RECORD_FILE
    if own.exists() and own.stat().st_size and Path(where) != own:
        return RecordError(
            f"{what}, yet {count} kept {photos} in {originals.FOLDER}/",
            where=where,
            remedy=f"the record of this study is {RECORD_FILE} in its folder: leave {URL_VARIABLE} "
            "unset",
        )
    return RecordError(
        f"{what}, yet {count} kept {photos} in {originals.FOLDER}/",
        where=where,
        remedy="put the latest backup back with restore; or, to start anew, move the folder "
        f"{originals.FOLDER} into inbox, so that its photos are read again",
    )


def make_private(folder: Path) -> None:
    """Make an empty record where there is none, and bar all others from it and the originals.

    What belongs to another owner is left as it is. Raises OSError.
    """
    file = folder / RECORD_FILE
    with contextlib.suppress(FileExistsError):
        os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, PRIVATE_FILE))
    for ending in ("", "-wal", "-shm"):
        tighten(file.with_name(file.name + ending), PRIVATE_FILE)
    root = originals.root_of(folder)
    kept = (root if isinstance(root, Path) else folder) / originals.FOLDER
    if kept.is_dir() and tighten(kept, PRIVATE_FOLDER):
        for path in kept.glob("*"):
            tighten(path, PRIVATE_FOLDER if path.is_dir() else PRIVATE_FILE)
        for path in kept.glob("*/*"):
            tighten(path, PRIVATE_FILE)


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


def copy_live(live: sqlite3.Connection, target: Path, pages: int = -1) -> None:
    """Copy a SQLite database as it is at one moment, whatever others write; closes ``live``."""
    os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, PRIVATE_FILE))
    with contextlib.closing(live), contextlib.closing(sqlite3.connect(target)) as copy:
        live.execute(f"PRAGMA busy_timeout = {BUSY_SECONDS * 1000}")
        live.execute("BEGIN")  # one reading transaction: writers go on and do not restart it
        live.execute("SELECT count(*) FROM sqlite_master").fetchone()
        live.backup(copy, pages=pages)
        copy.execute("PRAGMA journal_mode = DELETE")
        live.rollback()


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
