"""A consistent copy of the whole record in one file, also while photos are being read."""

from __future__ import annotations

import io
import os
import re
import sqlite3
import tarfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select

from sheet_reader.atomic import PRIVATE_FILE, sync_folder
from sheet_reader.errors import RecordError, StorageError, UsageError
from sheet_reader.intake.gather import INBOX
from sheet_reader.numbers import RECORD
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.original_faults import original_faults
from sheet_reader.record.store import schema
from sheet_reader.record.store.address import PLACE_FILE
from sheet_reader.record.store.engine import (
    BUSY_SECONDS,
    RECORD_FILE,
    URL_VARIABLE,
    our_errors,
    unchanging_engine,
)
from sheet_reader.record.store.leftovers import backup_folder, sweep
from sheet_reader.record.store.log_pair import must_be_a_pair
from sheet_reader.record.store.opening import (
    copy_live,
    for_reading,
    may_write,
    must_know,
    must_not_be_blank,
)
from sheet_reader.record.store.server_copy import copy_from_server
from sheet_reader.sheet.kept_layouts import kept_files
from sheet_reader.study.model import Study

PAGES_AT_A_TIME = RECORD.backup_pages
SQLITE_MAGIC = b"SQLite format 3\0"
BELONGS = re.compile(r"(?:originals/[0-9a-f]{2}/|layouts/)?(?!\.\.?\Z)[^/\\\x00-\x1f]+")


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What a backup holds: ``photos`` originals in ``bytes`` bytes of archive at ``file``.

    ``problems`` says, one line each, what is missing or damaged: then the backup is not complete.
    ``notes`` names files in the study folder that are no part of it.
    """

    file: Path
    photos: int
    bytes: int
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def backup(study: Study, file: Path) -> BackedUp:
    """Write the record, every original, study.toml and the site list into one tar archive.

    The record is copied by SQLite's own backup, or from a database server in one transaction into
    a SQLite file, so that it is the state of one moment; originals never change and are kept before
    the record names them, so that none is missing. The archive appears whole under its name or not
    at all. Put it back with :func:`.restore.restore`. Raises :class:`UsageError` where there is no
    record yet, or ``file`` is there and no earlier backup; :class:`RecordError` where the
    record knows none of the photos, or a photo is missing that an earlier backup at ``file`` may
    hold; and :class:`StorageError` where the archive cannot be written.
    """
    source, elsewhere = study.folder / RECORD_FILE, bool(os.environ.get(URL_VARIABLE))
    with our_errors(file):
        must_not_be_blank(study.folder)
        if not elsewhere and not source.is_file():
            raise UsageError("there is no record yet", where=source)
        target = backup_target(study.folder, file)
        sweep(target.parent, ".backup-*")
        with backup_folder(target.parent) as workplace:
            copy, packed = Path(workplace, RECORD_FILE), Path(workplace, "packed")
            kept = originals.digests(study.folder)
            if elsewhere:
                copy_from_server(study, copy)
            else:
                copy_record(source, copy)
            problems, notes = _incomplete(study, copy, kept), _left_out(study)
            problems += [f"{path.name} is a link that leads nowhere" for path in _dangling(study)]
            if problems and target.exists():
                raise RecordError(
                    f"{problems[0]}{more_than_one(problems)}; the earlier backup is left as it is",
                    where=target,
                    remedy="put back what is missing, or back up under another name",
                )
            photos = _pack(study, copy, packed, _belonging(study, copy, kept))
            size = packed.stat().st_size
            packed.replace(target)
            sync_folder(target.parent)
    return BackedUp(target, photos, size, tuple(problems), tuple(notes))


def more_than_one(lines: Sequence[str]) -> str:
    """Says how many more lines there are after the first."""
    return f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""


def backup_target(folder: Path, file: Path) -> Path:
    """Where a backup of the study in ``folder`` goes that was asked for at ``file``: links are
    followed. Raises :class:`UsageError` where something lies there that is no earlier backup, and
    for the study's own places.
    """
    other = "name a file that is new or an earlier backup"
    if os.path.lexists(file) and file.exists() and not file.is_file():
        kind = "a folder" if file.is_dir() else "a device or pipe"
        raise UsageError(f"this is {kind}, and no backup", where=file, remedy=other)
    target = file.resolve()
    for own in (originals.FOLDER, INBOX):
        if any(_is_same(parent, folder / own) for parent in target.parents):
            raise UsageError(f"{own}/ is no place for a backup", where=file, remedy=other)
    if _is_same(target.parent, folder) and target.name.lower().startswith(RECORD_FILE):
        raise UsageError("this name is the record's own", where=file, remedy=other)
    if target.exists() and not is_backup(target):
        raise UsageError("this is there already, and no backup", where=file, remedy=other)
    return target


def _is_same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def is_backup(file: Path) -> bool:
    """Whether a regular file is a backup of ours: a tar archive that begins with a record."""
    try:
        with tarfile.open(file, "r:") as archive:
            first = archive.next()
            if first is None or first.name != RECORD_FILE or not first.isreg():
                return False
            content = archive.extractfile(first)
            return content is not None and content.read(len(SQLITE_MAGIC)) == SQLITE_MAGIC
    except (tarfile.TarError, OSError, EOFError, ValueError):
        return False


def copy_record(source: Path, target: Path) -> None:
    """Copy a SQLite record as it is at one moment, whatever other processes write; also one in a
    folder that may not be written.
    """
    must_be_a_pair(source)
    try:
        if may_write(source):
            copy_live(sqlite3.connect(source, timeout=BUSY_SECONDS), target, PAGES_AT_A_TIME)
        else:
            with for_reading(source) as view:
                copy_live(view.connect(), target)
                view.must_be_unchanged()
    except sqlite3.Error as error:
        raise StorageError(f"the record cannot be copied: {error}", where=source) from error


def _incomplete(study: Study, record: Path, kept: frozenset[str]) -> list[str]:
    """What is wrong with the originals that the copied record names; ``kept`` was there before."""
    engine = unchanging_engine(record)
    try:
        with engine.connect() as connection:
            must_know(connection, kept, study.folder, str(study.folder / RECORD_FILE))
            return list(original_faults(connection, study.folder))
    finally:
        engine.dispose()


def _plain_files(study: Study) -> list[Path]:
    """The study's own files beside the record: settings and lists, and what looks like some."""
    found = {p for ending in ("toml", "csv") for p in study.folder.glob(f"*.{ending}")}
    found.discard(study.folder / PLACE_FILE)  # what is put back has its record in the folder
    if study.sites_file:
        found.add(study.folder / study.sites_file)
    return sorted(found)


def _dangling(study: Study) -> list[Path]:
    return [path for path in _plain_files(study) if path.is_symlink() and not path.exists()]


def _left_out(study: Study) -> list[str]:
    return [
        f"{path.name} is left out: it is no file that a backup can hold"
        for path in _plain_files(study)
        if path.exists() and not _can_hold(path)
    ]


def _can_hold(path: Path) -> bool:
    return path.is_file() and BELONGS.fullmatch(path.name) is not None


def _belonging(study: Study, record: Path, kept: frozenset[str]) -> list[str]:
    """The originals that the copied record names, and those that were there before it was copied:
    one that came later would lie in the backup without the record knowing of it.
    """
    engine = unchanging_engine(record)
    try:
        with engine.connect() as connection:
            named = set(connection.execute(select(schema.photos.c.original)).scalars())
    finally:
        engine.dispose()
    return [
        place
        for place in originals.all_kept(study.folder)
        if originals.digest_in(place) in kept or place in named
    ]


def _pack(study: Study, record: Path, packed: Path, kept: Sequence[str]) -> int:
    packed.touch(PRIVATE_FILE)
    with packed.open("wb") as stream:
        with tarfile.open(fileobj=stream, mode="w", dereference=True) as archive:
            archive.add(record, RECORD_FILE, filter=_anonymous)
            for plain in filter(_can_hold, _plain_files(study)):
                archive.add(plain, plain.name, filter=_anonymous)
            for layout in kept_files(study.folder):
                name = layout.relative_to(study.folder).as_posix()
                archive.add(layout, name, filter=_anonymous)
            for place in kept:
                _add_original(archive, originals.at(study.folder, place), place)
        stream.flush()
        os.fsync(stream.fileno())
    return len(kept)


def _add_original(archive: tarfile.TarFile, file: originals.File, name: str) -> None:
    if isinstance(file, Path):
        archive.add(file, name, filter=_anonymous)
        return
    data, member = file.raw_bytes(), tarfile.TarInfo(name)
    member.size = len(data)
    archive.addfile(_anonymous(member), io.BytesIO(data))


def _anonymous(member: tarfile.TarInfo) -> tarfile.TarInfo:
    """Without the owner's account name: that is nobody's business in an archive passed on. What
    is unpacked is for its owner only.
    """
    member.mode = PRIVATE_FILE
    member.uid = member.gid = 0
    member.uname = member.gname = ""
    return member
