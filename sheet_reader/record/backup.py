"""A consistent copy of the whole record in one file, also while photos are being read."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sqlite3
import tarfile
from dataclasses import dataclass
from pathlib import Path

from sheet_reader.errors import StorageError, UsageError
from sheet_reader.record import originals
from sheet_reader.record.engine import (
    BUSY_SECONDS,
    RECORD_FILE,
    URL_VARIABLE,
    our_errors,
    storage_error,
)
from sheet_reader.record.leftovers import backup_folder, sweep
from sheet_reader.study.model import Study

PAGES_AT_A_TIME = 2_000
_BELONGS = re.compile(r"(?:originals/[0-9a-f]{2}/)?[^./\\\x00-\x1f][^/\\\x00-\x1f]*")


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What a backup holds: ``photos`` originals in ``bytes`` bytes of archive at ``file``."""

    file: Path
    photos: int
    bytes: int


def backup(study: Study, file: Path) -> BackedUp:
    """Write the record, every original, study.toml and the roster into one tar archive.

    The record is copied by SQLite's own backup, so that it is the state of one moment; originals
    never change and are kept before the record names them, so that none is missing. The archive
    appears whole under its name or not at all. Put it back by unpacking it into an empty folder.
    Raises :class:`UsageError` where there is no record yet or the record is not a file of its
    own, and :class:`StorageError` where the archive cannot be written.
    """
    source = study.folder / RECORD_FILE
    if os.environ.get(URL_VARIABLE):
        raise UsageError(
            "the record is on a database server, which this cannot copy",
            remedy="use the server's own backup, and copy the folder originals/",
        )
    if not source.is_file():
        raise UsageError("there is no record yet", where=source)
    file = file.resolve()
    if file.is_dir():
        raise UsageError("this is a folder; name a file", where=file)
    sweep(file.parent, ".backup-*")
    try:
        with backup_folder(file.parent) as workplace:
            copy, packed = Path(workplace, RECORD_FILE), Path(workplace, "packed")
            copy_record(source, copy)
            photos = _pack(study, copy, packed)
            size = packed.stat().st_size
            packed.replace(file)
    except OSError as error:
        raise storage_error(error, file) from error
    return BackedUp(file, photos, size)


def copy_record(source: Path, target: Path) -> None:
    """Copy a SQLite record as it is at one moment, whatever other processes write."""
    try:
        with (
            contextlib.closing(sqlite3.connect(source, timeout=BUSY_SECONDS)) as live,
            contextlib.closing(sqlite3.connect(target)) as copy,
        ):
            live.execute("BEGIN")  # one reading transaction: writers go on and do not restart it
            live.execute("SELECT count(*) FROM sqlite_master").fetchone()
            live.backup(copy, pages=PAGES_AT_A_TIME)
            copy.execute("PRAGMA journal_mode = DELETE")
            live.rollback()
    except sqlite3.Error as error:
        raise StorageError(f"the record cannot be copied: {error}", where=source) from error


def _pack(study: Study, record: Path, packed: Path) -> int:
    photos = 0
    with packed.open("wb") as stream:
        with tarfile.open(fileobj=stream, mode="w") as archive:
            archive.add(record, RECORD_FILE, filter=_anonymous)
            for plain in sorted(study.folder.glob("*.toml")) + sorted(study.folder.glob("*.csv")):
                archive.add(plain, plain.name, filter=_anonymous)
            for original in originals.all_kept(study.folder):
                name = original.relative_to(study.folder).as_posix()
                archive.add(original, name, filter=_anonymous)
                photos += 1
        stream.flush()
        os.fsync(stream.fileno())
    return photos


def _anonymous(member: tarfile.TarInfo) -> tarfile.TarInfo:
    """Without the owner's account name: that is nobody's business in an archive passed on."""
    member.uid = member.gid = 0
    member.uname = member.gname = ""
    return member


def restore(file: Path, folder: Path) -> None:
    """Unpack a backup into ``folder``, which must be empty or not there yet.

    Raises :class:`UsageError` where it is not, and :class:`StorageError` for a damaged archive.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError("the folder to put the backup into is not empty", where=folder)
    with our_errors(folder):
        folder.mkdir(parents=True, exist_ok=True)
        try:
            with tarfile.open(file) as archive:
                for member in archive:
                    _unpack(archive, member, folder)
        except (tarfile.TarError, EOFError) as error:
            raise StorageError(f"the backup is damaged: {error}", where=file) from error


def _unpack(archive: tarfile.TarFile, member: tarfile.TarInfo, folder: Path) -> None:
    """One file of a backup; whatever does not belong into one is left where it is."""
    source = archive.extractfile(member) if member.isreg() else None
    if source is None or not _BELONGS.fullmatch(member.name):
        raise StorageError(f"the backup holds something strange: {member.name!r:.80}")
    target = folder / member.name
    target.parent.mkdir(parents=True, exist_ok=True)
    with target.open("xb") as stream:
        shutil.copyfileobj(source, stream)
