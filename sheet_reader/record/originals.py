"""Originals kept unchanged in the study folder, named by the hash of their bytes."""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

from sheet_reader.record.leftovers import new_file, sweep

FOLDER = "originals"


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file's bytes in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def place_of(digest: str, suffix: str) -> str:
    """Where an original lies, relative to the study folder: ``originals/ab/abcd….jpg``."""
    return f"{FOLDER}/{digest[:2]}/{digest}{suffix}"


def keep(folder: Path, relative: str, data: bytes) -> bool:
    """Write ``data`` to ``folder / relative`` whole or not at all, and onto the disk.

    Says whether it was written: the same bytes are left as they are, others replaced, since the
    file's name is the hash of its bytes. Raises OSError.
    """
    target = folder / relative
    with contextlib.suppress(FileNotFoundError):
        if target.stat().st_size == len(data) and target.read_bytes() == data:
            return False
    for parent in (target.parent.parent, target.parent):
        _make_private_folder(parent)
    handle, temporary = new_file(target.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
    for parent in (target.parent, target.parent.parent):
        _sync_folder(parent)
    return True


def _make_private_folder(folder: Path) -> None:
    with contextlib.suppress(FileExistsError):
        folder.mkdir(mode=0o700)


def _sync_folder(folder: Path) -> None:
    """Make the new name itself durable; where a system cannot, the file's bytes still are."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def all_kept(folder: Path) -> Iterator[Path]:
    """Every original in the study folder, half-written ones left out."""
    for path in sorted((folder / FOLDER).glob("*/*")):
        if path.is_file() and not path.name.startswith("."):
            yield path


def digests(folder: Path) -> frozenset[str]:
    """The names of all originals without their endings: the hashes of their bytes."""
    return frozenset(path.stem for path in all_kept(folder))


def of_digest(folder: Path, digest: str) -> list[Path]:
    """The kept file with this hash, whatever its ending."""
    return list((folder / FOLDER / digest[:2]).glob(f"{digest}.*"))


def sweep_originals(folder: Path) -> None:
    """Remove half-written originals of processes that were killed."""
    sweep(folder / FOLDER, "*/.new-*")
