"""A backup put in place of the record: checked first, the present one set aside whole."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sheet_reader.atomic import atomic_write, backup_folder, private_folder, sweep, sync_folder
from sheet_reader.errors import UnavailableError, UsageError
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.backup_contents import (
    BackupContents,
    is_whole,
    unpack_checked,
    write_file,
)
from sheet_reader.record.store.engine import LOGS, RECORD_FILE, URL_VARIABLE, our_errors
from sheet_reader.record.store.place import PLACE_FILE
from sheet_reader.sheet.kept_layouts import FOLDER as LAYOUTS
from sheet_reader.study.days import now
from sheet_reader.study.reader import STUDY_FILE

ASIDE = "before-restore-"
_SHARED_LOCK = 0x40000002, 510
"""Where programs that have a SQLite file open hold a lock on it, and how many bytes: SQLite's
os.h, SHARED_FIRST and SHARED_SIZE."""


@dataclass(frozen=True, slots=True)
class Restored:
    """``aside`` is the folder with the study as it was, a study of its own; None where there was
    none. ``notes`` says what differs or is left to do.
    """

    aside: Path | None
    compared: BackupContents
    notes: tuple[str, ...]


def restore(
    file: Path, folder: Path, agree: Callable[[BackupContents], object] = lambda _: None
) -> Restored:
    """Put a backup in place of the record in ``folder``, which may be new, empty, or a study.

    The whole backup is unpacked and checked before anything is touched, and ``agree`` told what
    would be missing; what it raises stops all. Then the study is set aside
    as it is, record, log and all; its originals are linked there, not moved. Those of the backup
    are added, its settings and site list only where there are none. Last, its record takes the
    place of the present one: a kill before that leaves the present record, one after it a record
    with a log that is not its own, which nothing opens (:mod:`.record_file`); call this once more
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
            compared = unpack_checked(file, new, folder)
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
    if folder.exists() and not study and (
        not folder.is_dir() or any(not p.name.startswith(".backup-") for p in folder.iterdir())
    ):  # fmt: skip
        what = "the folder to put the backup into is not empty, and no study"
        raise UsageError(what, where=folder)
    if not file.is_file():
        raise UsageError("there is no such file", where=file)


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
    with source.open("rb") as content:
        write_file(target, content, onto_disk=True)


def _put_files(new: Path, folder: Path) -> tuple[str, ...]:
    """The originals and kept layouts of the backup, and its settings where there are none."""
    notes = []
    for path in sorted(p for p in new.rglob("*") if p.is_file() and p.name != RECORD_FILE):
        place = path.relative_to(new)
        data = path.read_bytes()
        if place.parts[0] == originals.FOLDER:
            if is_whole(path):
                originals.keep(folder, place.as_posix(), data)
        elif not (folder / place).exists():
            atomic_write({folder / place: data})
        elif (folder / place).read_bytes() != data and place.parts[0] != LAYOUTS:
            notes.append(f"{place} is not as it was in the backup; yours is left as it is")
    return tuple(notes)
