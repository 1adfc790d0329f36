"""A backup unpacked and checked: what it holds, and what the present record knows beyond it."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tarfile
from collections.abc import Iterator, Sized
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from sqlalchemy import Connection, select

from sheet_reader.atomic import BINARY, PRIVATE_FILE, private_folder
from sheet_reader.errors import RecordError, SheetReaderError, StorageError, UsageError
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.backup import BELONGS, is_backup
from sheet_reader.record.originals.verify import first_fault
from sheet_reader.record.people.people import DECISIONS
from sheet_reader.record.store import schema
from sheet_reader.record.store.engine import RECORD_FILE, our_errors, unchanging
from sheet_reader.record.store.record_file import copied, must_be_a_pair
from sheet_reader.study.reader import read_study


@dataclass(frozen=True, slots=True)
class Contents:
    """What a record knows: photos by the hash of their bytes (those made anonymous since too),
    decisions, and what people remarked, each told apart by what it says.
    """

    study: str
    photos: frozenset[str]
    forgotten: frozenset[str]
    decisions: frozenset[tuple[object, ...]]
    remarks: frozenset[tuple[object, ...]]
    last: str

    @classmethod
    def of(cls, connection: Connection) -> Contents:
        """All that a record knows."""
        p, r, s = schema.photos.c, schema.remarks.c, schema.page_instances.c
        photos = connection.execute(select(p.sha256, p.forgotten_at, p.received_at)).all()
        decided: set[tuple[object, ...]] = set()
        for table in DECISIONS:
            said = ("field", "kind", "value", "said", "former", "at")
            columns = [c for c in table.c if c.name in said]
            decided.update(tuple(row) for row in connection.execute(select(*columns)))
        remarks = connection.execute(select(r.mark, r.site, r.visit_date))
        times = [*(str(said[-1]) for said in decided), *(row.received_at for row in photos)]
        return cls(
            str(connection.scalar(select(s.study).order_by(s.id.desc()).limit(1)) or ""),
            frozenset(row.sha256 for row in photos),
            frozenset(row.sha256 for row in photos if row.forgotten_at),
            frozenset(decided),
            frozenset(tuple(row) for row in remarks),
            max(times, default=""),
        )

    def beyond(self, restored: Contents) -> Iterator[str]:
        """A line for each kind of thing that is known here and not in the ``restored`` record."""

        def told(singular: str, more: Sized) -> str:
            return f"{len(more):,} {singular}{'' if len(more) == 1 else 's'}"

        if more := self.photos - restored.photos:
            yield f"{told('photo', more)} that came since"
        if decisions := self.decisions - restored.decisions:
            yield f"{told('answer', decisions)} given since"
        if remarks := self.remarks - restored.remarks:
            yield f"{told('remark', remarks)} made since"
        if back := (self.forgotten - restored.forgotten) & restored.photos:
            many = told("photo", back)
            yield f"what was erased since: {many} would name people again, erase anew"


@dataclass(frozen=True, slots=True)
class BackupContents:
    """``restored`` is what the backup holds; ``lacks`` says, one line each, what the present record
    knows beyond it.
    """

    restored: Contents
    lacks: tuple[str, ...]


def unpack_checked(file: Path, new: Path, folder: Path) -> BackupContents:
    """Unpack the backup into ``new``, and look whether all of it is there and sound."""
    _unpack(file, new)
    record = new / RECORD_FILE
    try:
        with our_errors(record), unchanging(record) as connection:
            fault = first_fault(connection)
            missing = [] if fault else list(_missing(connection, new, folder))
            restored = Contents.of(connection)
    except RecordError as error:
        raise RecordError(f"the record in this backup is damaged: {error.what}", where=file,
                          remedy="take an earlier backup") from error  # fmt: skip
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
        missing += known.beyond(restored)
    elif present:
        missing.append(str(present))
    return BackupContents(restored, tuple(missing))


def _key_in(folder: Path) -> str:
    """The key of the study in a folder, "" where it can't be told."""
    try:
        return read_study(folder).key
    except (SheetReaderError, OSError):
        return ""


def _missing(connection: Connection, new: Path, folder: Path) -> Iterator[str]:
    """A line for each photo of which neither backup nor study has the original as it was."""
    for name, place in originals.named_in(connection):
        if not any(map(is_whole, (new / place, originals.at(folder, place)))):
            yield f"the original of {name}, which is missing in it or changed"


def is_whole(original: originals.File) -> bool:
    """Whether an original is there, as it was kept."""
    return original.is_file() and originals.is_sound(original)


def _present(folder: Path) -> Contents | str:
    """What the present record knows; else why that can't be told, "" where there is none."""
    file = folder / RECORD_FILE
    if not file.exists():
        return ""
    try:
        must_be_a_pair(file)
        with copied(file) as copy, our_errors(file), unchanging(copy) as connection:
            return Contents.of(connection)
    except (SheetReaderError, sqlite3.Error):
        return "the present record can't be read, so it is not known what it holds beyond this"


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
    write_file(target, source, onto_disk=member.name == RECORD_FILE)


def write_file(target: Path, content: IO[bytes], *, onto_disk: bool) -> None:
    """Write a new file for its owner alone, and wait for the disk where it is to last."""
    handle = os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY | BINARY, PRIVATE_FILE)
    with os.fdopen(handle, "wb") as stream:
        shutil.copyfileobj(content, stream)
        stream.flush()
        if onto_disk:
            os.fsync(stream.fileno())
