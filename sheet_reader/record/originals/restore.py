"""A backup put in place of the record: checked first, the present one set aside whole."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tarfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, select

from sheet_reader.atomic import BINARY, PRIVATE_FILE, atomic_write, private_folder, sync_folder
from sheet_reader.errors import (
    RecordError,
    SheetReaderError,
    StorageError,
    UnavailableError,
    UsageError,
)
from sheet_reader.record.history.states import TYPED
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.backup import BELONGS, is_backup
from sheet_reader.record.originals.contents import Contents, contents_of, lacks
from sheet_reader.record.store import schema
from sheet_reader.record.store.address import PLACE_FILE
from sheet_reader.record.store.engine import (
    RECORD_FILE,
    URL_VARIABLE,
    our_errors,
    unchanging_engine,
)
from sheet_reader.record.store.leftovers import backup_folder, sweep
from sheet_reader.record.store.log_pair import must_be_a_pair
from sheet_reader.record.store.opening import copied
from sheet_reader.record.store.soundness import first_fault
from sheet_reader.sheet.kept_layouts import FOLDER as LAYOUTS
from sheet_reader.study.days import now
from sheet_reader.study.reader import STUDY_FILE, read_study

ASIDE = "before-restore-"
LOGS = ("-wal", "-shm", "-journal")
_SHARED_LOCK = 0x40000002, 510
"""Where programs that have a SQLite file open hold a lock on it, and how many bytes: SQLite's
os.h, SHARED_FIRST and SHARED_SIZE."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """``restored`` is what the backup holds; ``lacks`` says, one line each, what the present record
    knows beyond it.
    """

    restored: Contents
    lacks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Restored:
    """``aside`` is the folder with the study as it was, a study of its own; None where there was
    none. ``notes`` says what differs or is left to do.
    """

    aside: Path | None
    compared: Comparison
    notes: tuple[str, ...]


def restore(
    file: Path, folder: Path, agree: Callable[[Comparison], object] = lambda _: None
) -> Restored:
    """Put a backup in place of the record in ``folder``, which may be new, empty, or a study.

    The whole backup is unpacked and checked before anything is touched, and ``agree`` told what
    would be missing; what it raises stops all. Then the study is set aside
    as it is, record, log and all; its originals are linked there, not moved. Those of the backup
    are added, its settings and site list only where there are none. Last, its record takes the
    place of the present one: a kill before that leaves the present record, one after it a record
    with a log that is not its own, which nothing opens (:mod:`.log_pair`); call this once more
    then. Raises :class:`UsageError` for a folder that is no study, a backup of another one and a
    record on a server, :class:`StorageError` for an archive that is damaged or no backup,
    :class:`RecordError` where the record in it is, and :class:`UnavailableError` while another
    program has the present record open.
    """
    _must_be_restorable(file, folder)
    with our_errors(folder):
        private_folder(folder)
        sweep(folder, ".backup-*")
        with backup_folder(folder) as place:
            new = Path(place, "new")
            compared = _checked(file, new, folder)
            agree(compared)
            with _alone(folder / RECORD_FILE):
                aside = _set_aside(folder, Path(place, "aside"))
                notes = _put_files(new, folder)
                (new / RECORD_FILE).replace(folder / RECORD_FILE)
                sync_folder(folder)
                for ending in LOGS:
                    (folder / f"{RECORD_FILE}{ending}").unlink(missing_ok=True)
                sync_folder(folder)
    return Restored(aside, compared, notes)


def _must_be_restorable(file: Path, folder: Path) -> None:
    """Raises :class:`UsageError` where ``folder`` can't take a backup, :class:`StorageError` where
    ``file`` is none.
    """
    if os.environ.get(URL_VARIABLE) or (folder / PLACE_FILE).exists():
        raise UsageError(
            "the record is on a database server; this puts back a record that is a file",
            where=folder,
            remedy=f"name a new folder, with {URL_VARIABLE} unset",
        )
    study = any((folder / name).exists() for name in (STUDY_FILE, RECORD_FILE, originals.FOLDER))
    if folder.exists() and (not folder.is_dir() or (any(_seen(folder)) and not study)):
        raise UsageError("the folder to put the backup into is not empty, and no study",
                         where=folder)  # fmt: skip
    if not file.is_file():
        raise UsageError("there is no such file", where=file)


def _seen(folder: Path) -> Iterator[Path]:
    return (path for path in folder.iterdir() if not path.name.startswith(".backup-"))


@contextmanager
def _alone(file: Path) -> Iterator[None]:
    """Hold off all other programs from the record; raises :class:`UnavailableError` while one has
    it open. (Windows refuses by itself to replace an open file.)
    """
    if os.name == "nt" or not file.exists():
        yield
        return
    import fcntl

    start, length = _SHARED_LOCK
    with file.open("rb+") as stream:
        try:
            fcntl.lockf(stream, fcntl.LOCK_EX | fcntl.LOCK_NB, length, start)
        except OSError:
            raise UnavailableError(
                "another program has the record open",
                where=file,
                remedy="close its review, its page and its read --watch, then try again",
            ) from None
        yield


def _checked(file: Path, new: Path, folder: Path) -> Comparison:
    """Unpack the backup into ``new``, and look whether all of it is there and sound."""
    _unpack(file, new)
    record = new / RECORD_FILE
    engine = unchanging_engine(record)
    try:
        with our_errors(record), engine.connect() as connection:
            fault = first_fault(connection)
            missing = [] if fault else list(_missing(connection, new, folder))
            restored = contents_of(connection)
    except RecordError as error:
        raise RecordError(f"the record in this backup is damaged: {error.what}", where=file,
                          remedy="take an earlier backup") from error  # fmt: skip
    finally:
        engine.dispose()
    if fault:
        raise RecordError(f"this backup is damaged: {fault}", where=file,
                          remedy="take an earlier backup; nothing was changed")  # fmt: skip
    present = _present(folder)
    known = present if isinstance(present, Contents) else None
    ours = _key_in(folder) or (known.study if known else "")
    theirs = _key_in(new) or restored.study
    if ours and theirs and ours != theirs:
        raise UsageError(
            f"this is a backup of the study “{theirs}”, not of “{ours}”",
            where=file,
            remedy="name the folder of that study, or a new one",
        )
    if known is not None:
        missing += lacks(restored, known)
    elif present:
        missing.append(str(present))
    return Comparison(restored, tuple(missing))


def _key_in(folder: Path) -> str:
    """The key of the study in a folder, "" where it can't be told."""
    try:
        return read_study(folder).key
    except (SheetReaderError, OSError):
        return ""


def _missing(connection: Connection, new: Path, folder: Path) -> Iterator[str]:
    """A line for each photo of which neither backup nor study has the original as it was."""
    p = schema.photos.c
    query = select(p.name, p.original).where(p.status != TYPED).order_by(p.id)
    for row in connection.execute(query):
        here = originals.at(folder, row.original)
        if not _is_sound(new / row.original) and not (here.is_file() and originals.is_sound(here)):
            yield f"the original of {row.name}, which is missing in it or changed"


def _is_sound(original: Path) -> bool:
    return original.is_file() and originals.is_sound(original)


def _present(folder: Path) -> Contents | str:
    """What the present record knows; else why that can't be told, "" where there is none."""
    file = folder / RECORD_FILE
    if not file.exists():
        return ""
    unknown = "the present record can't be read, so it is not known what it holds beyond this"
    try:
        must_be_a_pair(file)
        with copied(file) as copy:
            engine = unchanging_engine(copy)
            try:
                with our_errors(file), engine.connect() as connection:
                    return contents_of(connection)
            finally:
                engine.dispose()
    except (SheetReaderError, sqlite3.Error):
        return unknown


def _set_aside(folder: Path, building: Path) -> Path | None:
    """The study as it is, in a folder of its own beside its files, which stay where they are."""
    record = [folder / f"{RECORD_FILE}{ending}" for ending in ("", *LOGS)]
    if not any(path.exists() for path in record):
        return None
    settings = [*folder.glob("*.toml"), *folder.glob("*.csv"), *(folder / LAYOUTS).glob("*")]
    for path in (*record, *settings, *(folder / originals.FOLDER).rglob("*")):
        if path.is_file():
            target = building / path.relative_to(folder)
            private_folder(target.parent)
            if path in settings:  # may be edited where they lie
                _copy(path, target)
                continue
            try:
                os.link(path, target)  # opens nothing: that would end the lock on the record
            except OSError:
                _copy(path, target)
    stamp = now()[:19].replace(":", "").replace("T", "-")
    free = (folder / f"{ASIDE}{stamp}{more}" for more in ("", *(f"-{n}" for n in range(2, 1000))))
    aside = next(path for path in free if not path.exists())
    building.replace(aside)
    sync_folder(folder)
    return aside


def _copy(source: Path, target: Path) -> None:
    handle = os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY | BINARY, PRIVATE_FILE)
    with os.fdopen(handle, "wb") as stream, source.open("rb") as content:
        shutil.copyfileobj(content, stream)
        stream.flush()
        os.fsync(stream.fileno())


def _put_files(new: Path, folder: Path) -> tuple[str, ...]:
    """The originals and kept layouts of the backup, and its settings where there are none."""
    notes = []
    for path in sorted(p for p in new.rglob("*") if p.is_file() and p.name != RECORD_FILE):
        place = path.relative_to(new)
        data = path.read_bytes()
        if place.parts[0] == originals.FOLDER:
            if _is_sound(path):
                originals.keep(folder, place.as_posix(), data)
        elif not (folder / place).exists():
            atomic_write({folder / place: data})
        elif (folder / place).read_bytes() != data and place.parts[0] != LAYOUTS:
            notes.append(f"{place} is not as it was in the backup; yours is left as it is")
    return tuple(notes)


def _unpack(file: Path, new: Path) -> None:
    private_folder(new)
    if not is_backup(file):
        raise StorageError(
            "this is no backup, or a damaged one", where=file,
            remedy="name a file that sheet-reader backup wrote",
        )  # fmt: skip
    try:
        with tarfile.open(file, "r:") as archive:
            for member in archive:
                _unpack_one(archive, member, new)
    except (tarfile.TarError, EOFError) as error:
        raise StorageError(f"the backup is damaged: {error}", where=file) from error


def _unpack_one(archive: tarfile.TarFile, member: tarfile.TarInfo, new: Path) -> None:
    """One file of a backup; whatever does not belong into one is left where it is."""
    plain = member.isreg() and not member.issparse()
    source = archive.extractfile(member) if plain else None
    beside_record = member.name.lower().startswith(RECORD_FILE) and member.name != RECORD_FILE
    target = new / member.name
    if source is None or beside_record or not BELONGS.fullmatch(member.name) or target.exists():
        raise StorageError(f"the backup holds something strange: {member.name!r:.80}")
    private_folder(target.parent)
    handle = os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY | BINARY, PRIVATE_FILE)
    with os.fdopen(handle, "wb") as stream:
        shutil.copyfileobj(source, stream)
        stream.flush()
        if member.name == RECORD_FILE:
            os.fsync(stream.fileno())
