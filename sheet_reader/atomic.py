"""Files that appear whole under their names, or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
from collections.abc import Callable, Mapping
from pathlib import Path

TEMPORARY = ".new-"
"""How the name of a half-written file begins; the number of the process that writes it follows."""
PUBLIC, PRIVATE = 0o666, 0o600
"""Modes of new files, less the process's umask."""
CANNOT_SYNC = (errno.EACCES, errno.EPERM, errno.EINVAL, errno.ENOTSUP, errno.EBADF)
"""What network and odd file systems say to the wish to sync a folder."""
BINARY: int = getattr(os, "O_BINARY", 0)


def atomic_write(
    files: Mapping[Path, bytes],
    *,
    mode: int = PUBLIC,
    before: Callable[[], object] = lambda: None,
) -> None:
    """Write all ``files`` onto the disk under temporary names beside them, then give them theirs.

    A full disk or a killed process leaves what was there before whole; between the names of several
    files there is a moment in which some are new. ``before`` is called when all bytes are on the
    disk and no name is given yet; where it raises, nothing is written. Raises OSError.
    """
    written: dict[Path, Path] = {}
    try:
        for target, content in files.items():
            written[target] = temporary_path(target)
            _write_through(written[target], content, mode)
        before()
        for target, path in written.items():
            path.replace(target)
    except BaseException:
        for path in written.values():
            with contextlib.suppress(OSError):
                path.unlink()
        raise
    for folder in {target.parent for target in files}:
        sync_folder(folder)


def temporary_path(target: Path) -> Path:
    """A new hidden name beside ``target`` that tells which process uses it."""
    return target.with_name(f"{TEMPORARY}{os.getpid()}-{secrets.token_hex(6)}")


def sync_folder(folder: Path) -> None:
    """Make new names in a folder durable; where a system cannot, the files' bytes still are.

    Raises OSError where the disk fails.
    """
    if os.name == "nt":
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as error:
        if error.errno not in CANNOT_SYNC:
            raise


def _write_through(path: Path, content: bytes, mode: int) -> None:
    handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY | BINARY, mode)
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
