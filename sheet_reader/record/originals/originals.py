"""Originals kept unchanged, named by the hash of their bytes: in the study folder, or where the
variable SHEET_READER_ORIGINALS says, which is a folder (``file://…``) or any store of fsspec.

The record names each by its place relative to that, ``originals/ab/abcd….jpg``.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from urllib.parse import unquote, urlsplit

from sqlalchemy import Connection, select

from sheet_reader.atomic import TEMPORARY, atomic_write, sweep, sync_folder
from sheet_reader.errors import StorageError, UsageError
from sheet_reader.intake.files import one_line
from sheet_reader.record.history.states import TYPED
from sheet_reader.record.originals.object_store import (
    STORE_VARIABLE,
    CarriedFile,
    ObjectStore,
    StoredFile,
)
from sheet_reader.record.store import schema

FOLDER = "originals"
OWNER = f"{FOLDER}/.study"
"""Says whose originals they are, where other studies could keep theirs, too."""
File = Path | StoredFile
"""An original, wherever it lies."""


def root_of(folder: Path) -> Path | ObjectStore:
    """Where the originals of the study in ``folder`` lie.

    Raises :class:`UsageError` where SHEET_READER_ORIGINALS names no place, and
    :class:`StorageError` where it names a folder that is not there.
    """
    url = os.environ.get(STORE_VARIABLE, "")
    if not url:
        return folder
    if "::" in url.partition("://")[0]:
        raise UsageError("a chain of stores can't keep originals", where=STORE_VARIABLE)
    parts = urlsplit(url)
    if parts.scheme not in ("file", "local") and "://" in url:
        return ObjectStore(url)
    place = Path(unquote(parts.path)) if "://" in url else Path(url)
    if parts.netloc not in ("", "localhost") or not place.is_absolute():
        remedy = "write it as file:///folder/of/originals, or leave it out"
        raise UsageError("this names no folder", where=STORE_VARIABLE, remedy=remedy)
    if not place.is_dir():
        raise StorageError(
            "there is no such folder, so the originals are out of reach", where=place,
            remedy=f"make it, or check {STORE_VARIABLE} and that the disk is there",
        )  # fmt: skip
    return place


def must_last() -> None:
    """Raises :class:`UsageError` where originals would be gone when this program ends."""
    if os.environ.get(STORE_VARIABLE, "").startswith("memory:"):
        raise UsageError(
            "memory:// forgets all photos when the program ends; it serves tests only",
            where=STORE_VARIABLE, remedy="name a store that lasts, or leave it out",
        )  # fmt: skip


def must_be_of(folder: Path, study: str) -> None:
    """Note on a place that SHEET_READER_ORIGINALS names which ``study`` (its key) keeps its
    originals there: what one study erases must not be gone from another.

    Raises :class:`UsageError` where another one does, OSError and :class:`StorageError`.
    """
    if not os.environ.get(STORE_VARIABLE):
        return
    try:
        owner = at(folder, OWNER).read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        keep(folder, OWNER, f"{study}\n".encode())
        return
    if owner != study:
        raise UsageError(
            f"the originals of another study ({one_line(owner, 60)}) are kept there",
            where=STORE_VARIABLE,
            remedy=f"name a place for this study alone, such as one that ends in /{study}",
        )


def at(folder: Path, relative: str) -> File:
    """The original of this place."""
    root = root_of(folder)
    return root / relative if isinstance(root, Path) else StoredFile(root, relative)


def to_carry(folder: Path, relative: str) -> Path | CarriedFile:
    """The original as another process of this machine can read it: one from a store is read here,
    so that a store out of reach is told once. Raises :class:`StorageError`.
    """
    file = at(folder, relative)
    if isinstance(file, Path):
        return file
    try:
        return CarriedFile(file.name, file.read_bytes())
    except OSError as error:
        return CarriedFile(file.name, error)


def is_sound(file: File) -> bool:
    """Whether a file that is there has the bytes that were kept."""
    if isinstance(file, Path):
        return sha256_of(file) == file.stem
    return hashlib.sha256(file.raw_bytes()).hexdigest() == file.stem


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file's bytes in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def place_of(digest: str, suffix: str) -> str:
    """Where an original lies, relative to the study folder or the store."""
    return f"{FOLDER}/{digest[:2]}/{digest}{suffix}"


def keep(folder: Path, relative: str, data: bytes) -> bool:
    """Write ``data`` to the place ``relative`` whole or not at all, and onto the disk.

    Says whether it was written: the same bytes are left as they are, others replaced, since the
    file's name is the hash of its bytes. Raises OSError and :class:`StorageError`.
    """
    root = root_of(folder)
    if isinstance(root, ObjectStore):
        return root.keep(relative, data)
    target = root / relative
    with contextlib.suppress(FileNotFoundError):
        if target.stat().st_size == len(data) and target.read_bytes() == data:
            return False
    atomic_write({target: data})
    sync_folder(target.parent.parent)
    return True


def all_kept(folder: Path) -> Iterator[str]:
    """The place of every original of the study, half-written ones left out."""
    root = root_of(folder)
    if isinstance(root, ObjectStore):
        yield from root.names(FOLDER)
        return
    for path in sorted((root / FOLDER).glob("*/*")):
        if path.is_file() and not path.name.startswith("."):
            yield path.relative_to(root).as_posix()


def digest_in(relative: str) -> str:
    """The hash that an original's name tells."""
    return Path(relative).stem


def digests(folder: Path) -> frozenset[str]:
    """The names of all originals without their endings: the hashes of their bytes."""
    return frozenset(map(digest_in, all_kept(folder)))


def of_digest(folder: Path, digest: str) -> list[str]:
    """The places of the kept file with this hash, whatever its ending."""
    root, near = root_of(folder), f"{FOLDER}/{digest[:2]}"
    if isinstance(root, ObjectStore):
        return [name for name in root.names(near) if digest_in(name) == digest]
    return [f"{near}/{path.name}" for path in (root / near).glob(f"{digest}.*")]


def remove(folder: Path, relative: str) -> None:
    """Remove an original, if it is there. Raises OSError and :class:`StorageError`."""
    root = root_of(folder)
    if isinstance(root, ObjectStore):
        root.remove(relative)
    else:
        (root / relative).unlink(missing_ok=True)


def sweep_originals(folder: Path) -> None:
    """Remove half-written originals of processes that were killed, on this machine's disks."""
    root = root_of(folder)
    if isinstance(root, Path):
        sweep(root / FOLDER, f"*/{TEMPORARY}*")


def original_faults(connection: Connection, folder: Path) -> Iterator[str]:
    """One line for each photo of the record whose original is missing or was changed."""
    for name, place in named_in(connection):
        file = at(folder, place)
        if not file.is_file():
            yield f"{name}: its original is missing ({place})"
        elif not is_sound(file):
            yield f"{name}: its original was changed ({place})"


def places_in(connection: Connection) -> set[str]:
    """The places of all originals that the record names."""
    return set(connection.scalars(select(schema.photos.c.original)))


def strays(connection: Connection, folder: Path) -> list[str]:
    """The places of originals that are kept and that the record does not name."""
    known = places_in(connection)
    return [place for place in all_kept(folder) if place not in known]


def named_in(connection: Connection) -> Sequence[tuple[str, str]]:
    """The photos of the record that have an original: name, and the original's place."""
    p = schema.photos.c
    photos = select(p.name, p.original).where(p.status != TYPED).order_by(p.id)
    return [(row.name, row.original) for row in connection.execute(photos)]
