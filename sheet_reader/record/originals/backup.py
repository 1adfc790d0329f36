"""A consistent copy of the whole record in one file, also while photos are being read."""

from __future__ import annotations

import contextlib
import io
import os
import re
import sqlite3
import tarfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, delete, insert, select

from sheet_reader.atomic import PRIVATE_FILE, backup_folder, sweep, sync_folder
from sheet_reader.errors import RecordError, UsageError
from sheet_reader.intake.gather import INBOX
from sheet_reader.numbers import RECORD
from sheet_reader.record.originals import originals
from sheet_reader.record.store import checksums, schema
from sheet_reader.record.store.engine import (
    RECORD_FILE,
    URL_VARIABLE,
    open_engine,
    our_errors,
    sqlite_url,
    unchanging,
)
from sheet_reader.record.store.migrations import migrate
from sheet_reader.record.store.place import PLACE_FILE, must_know, must_not_be_blank
from sheet_reader.record.store.record_file import copy_record, make_empty
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.kept_layouts import kept_files
from sheet_reader.study.study import Study

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
                _copy_from_server(study, copy)
            else:
                copy_record(source, copy)
            with unchanging(copy) as connection:
                must_know(connection, kept, study.folder, str(source))
                problems = list(originals.original_faults(connection, study.folder))
                known = originals.places_in(connection)
            plain = _plain_files(study)
            problems += [
                f"{path.name} is a link that leads nowhere" for path in plain
                if path.is_symlink() and not path.exists()
            ]  # fmt: skip
            notes = [
                f"{path.name} is left out: it is no file that a backup can hold" for path in plain
                if path.exists() and not _can_hold(path)
            ]  # fmt: skip
            if problems and target.exists():
                more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
                raise RecordError(
                    f"{problems[0]}{more}; the earlier backup is left as it is",
                    where=target,
                    remedy="put back what is missing, or back up under another name",
                )
            # an original that came later would lie in the backup without the record knowing of it
            belonging = [
                place for place in originals.all_kept(study.folder)
                if originals.digest_in(place) in kept or place in known
            ]  # fmt: skip
            files = {path.name: path for path in filter(_can_hold, plain)}
            files |= {path.relative_to(study.folder).as_posix(): path
                      for path in kept_files(study.folder)}  # fmt: skip
            _pack(study.folder, packed, copy, files, belonging)
            size = packed.stat().st_size
            packed.replace(target)
            sync_folder(target.parent)
    return BackedUp(target, len(belonging), size, tuple(problems), tuple(notes))


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


def _plain_files(study: Study) -> list[Path]:
    """The study's own files beside the record: settings and lists, and what looks like some."""
    found = {p for ending in ("toml", "csv") for p in study.folder.glob(f"*.{ending}")}
    found.discard(study.folder / PLACE_FILE)  # what is put back has its record in the folder
    if study.sites_file:
        found.add(study.folder / study.sites_file)
    return sorted(found)


def _can_hold(path: Path) -> bool:
    return path.is_file() and BELONGS.fullmatch(path.name) is not None


def _pack(
    folder: Path, packed: Path, record: Path, files: Mapping[str, Path], places: Iterable[str]
) -> None:
    packed.touch(PRIVATE_FILE)
    with packed.open("wb") as stream:
        with tarfile.open(fileobj=stream, mode="w", dereference=True) as archive:
            archive.add(record, RECORD_FILE, filter=_anonymous)
            for name, file in files.items():
                archive.add(file, name, filter=_anonymous)
            for place in places:
                original = originals.at(folder, place)
                if isinstance(original, Path):
                    archive.add(original, place, filter=_anonymous)
                else:
                    data, member = original.raw_bytes(), tarfile.TarInfo(place)
                    member.size = len(data)
                    archive.addfile(_anonymous(member), io.BytesIO(data))
        stream.flush()
        os.fsync(stream.fileno())


def _anonymous(member: tarfile.TarInfo) -> tarfile.TarInfo:
    """Without the owner's account name: that is nobody's business in an archive passed on. What
    is unpacked is for its owner only.
    """
    member.mode = PRIVATE_FILE
    member.uid = member.gid = 0
    member.uname = member.gname = ""
    return member


def _copy_from_server(study: Study, target: Path) -> None:
    """Write the record that the address names into the new file ``target``, with the rows' numbers
    and checksums as they are, in one transaction on the server whatever others write meanwhile.
    """
    make_empty(target)
    engine = open_engine(sqlite_url(target))
    try:
        migrate(engine)
        with (
            Record.open(study, for_reading=True, of_any_study=True) as record,
            record.reading() as source,
        ):
            _fill(engine, source)
    finally:
        engine.dispose()
    with contextlib.closing(sqlite3.connect(target)) as copy:
        copy.execute("PRAGMA journal_mode = DELETE")


def _fill(engine: Engine, source: Connection) -> None:
    """All rows of ``source``; triggers, which would write rows of their own, come after them."""
    with engine.connect().execution_options(writes=True) as copy, copy.begin():
        triggers = copy.exec_driver_sql(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        ).all()
        for name, _ in triggers:
            copy.exec_driver_sql(f"DROP TRIGGER {name}")
        for table in schema.metadata.sorted_tables:
            copy.execute(delete(table))
            rows = source.execution_options(yield_per=RECORD.checksum_rows).execute(
                select(table).order_by(*table.primary_key.columns)
            )
            for some in rows.mappings().partitions():
                copy.execute(insert(table), [dict(row) for row in some])
        for _, text in triggers:
            copy.exec_driver_sql(text)
        copy.execute(delete(schema.about).where(schema.about.c.name == checksums.SCHEMA_NOTE))
        checksums.note_schema(copy)
