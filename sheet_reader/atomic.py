"""Files that appear whole under their names, or not at all, and for their owner's eyes only.

Nearly all that is written can hold volunteers' data, so everything is: one rule, nothing to forget.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import secrets
import shutil
import stat
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from sheet_reader.numbers import RECORD

STUDY_FILE = "study.toml"
"""What makes a folder that of a study."""
TEMPORARY = ".new-"
"""How the name of a half-written file begins; the number of the process that writes it follows."""
PRIVATE_FILE, PRIVATE_FOLDER = 0o600, 0o700
OTHERS = stat.S_IRWXG | stat.S_IRWXO
CANNOT_SYNC = (errno.EACCES, errno.EPERM, errno.EINVAL, errno.ENOTSUP, errno.EBADF)
"""What network and odd file systems say to the wish to sync a folder."""
BINARY: int = getattr(os, "O_BINARY", 0)
_LEFTOVER = re.compile(r"\.(?:new|backup)-(\d+)-\w+")


def atomic_write(
    files: Mapping[Path, bytes], *, before: Callable[[], object] = lambda: None
) -> None:
    """Write all ``files`` onto the disk under temporary names beside them, then give them theirs.
    Their folders are made where they are missing (:func:`private_folder`).

    A full disk or a killed process leaves what was there before whole; between the names of several
    files there is a moment in which some are new. ``before`` is called when all bytes are on the
    disk and no name is given yet; where it raises, nothing is written. Raises OSError.
    """
    written: dict[Path, Path] = {}
    for folder in {target.parent for target in files}:
        private_folder(folder)
    try:
        for target, content in files.items():
            written[target] = temporary_path(target)
            _write_through(written[target], content)
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


def private_folder(folder: Path) -> None:
    """Make a folder, and those above it that are missing, for its owner alone. One that is there
    is barred from others where it lies in a study's folder; elsewhere it is hers to share.

    Raises OSError.
    """
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    for path in reversed(missing):
        path.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
    for path in _inside_a_study(folder.resolve()):
        tighten(path, PRIVATE_FOLDER)


def _inside_a_study(folder: Path) -> Iterator[Path]:
    """The folder and those above it, up to the one that holds a study: that one is hers."""
    paths = (folder, *folder.parents)
    homes = [number for number, path in enumerate(paths) if (path / STUDY_FILE).is_file()]
    yield from paths[: homes[0] if homes else 0]


def tighten(path: Path, mode: int) -> bool:
    """Whether others had any right at ``path``; then they have none any more. What belongs to
    another owner is left as it is.
    """
    with contextlib.suppress(FileNotFoundError, PermissionError):
        if path.stat().st_mode & OTHERS:
            path.chmod(mode)
            return True
    return False


def temporary_path(target: Path) -> Path:
    """A new hidden name beside ``target`` that tells which process uses it."""
    return target.with_name(f"{TEMPORARY}{os.getpid()}-{secrets.token_hex(6)}")


def backup_folder(folder: Path) -> tempfile.TemporaryDirectory[str]:
    """A hidden folder in ``folder`` to build a backup in; its name tells which process uses it."""
    return tempfile.TemporaryDirectory(prefix=f".backup-{os.getpid()}-", dir=folder)


def is_running(pid: int) -> bool:
    """Whether a process with this number lives on this machine (where unsure: yes)."""
    if os.name == "nt":
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True


def sweep(folder: Path, pattern: str) -> None:
    """Remove what dead processes left half-written under ``folder``; a glob pattern says where."""
    for path in folder.glob(pattern):
        found = _LEFTOVER.fullmatch(path.name)
        with contextlib.suppress(OSError):
            if found is None or (
                is_running(int(found.group(1)))
                and time.time() - path.stat().st_mtime <= RECORD.leftover_seconds
            ):
                continue
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()


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


def _write_through(path: Path, content: bytes) -> None:
    handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY | BINARY, PRIVATE_FILE)
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
