"""The files meant by a list of files and folders, in the order a person expects; and which of them
have arrived whole: a file is taken once nobody has written to it for a while.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from sheet_reader.errors import StorageError, UsageError
from sheet_reader.intake.files import NoPicture, file_name, natural_key

SYSTEM_FILES = frozenset({"thumbs.db", "desktop.ini", "icon\r"})
INBOX = "inbox"
FOLDER_LINK = "this is a link to a folder and was not followed: name that folder itself to read it"
DEAD_LINK = "this link leads nowhere: what it pointed to is gone"
NO_FILE = "this is no file (a device or a pipe): left out"

Signature = tuple[int, int]
"""Size in bytes and time of the last change in ns: another one means that the file was written."""


def gather(paths: Iterable[Path]) -> list[Path | NoPicture]:
    """All files under ``paths``, each once: folders are walked whole, ``scan2`` before ``scan10``.

    Hidden files and folders and the system's own files are left out where they are found by
    walking; what a person names is taken as named. A link to a file counts as that file. A link to
    a folder, which might lead round in a circle, one that leads nowhere, and what is neither file
    nor folder (a device, a pipe) is a reason instead. Raises :class:`UsageError` where a path does
    not exist and :class:`StorageError` where a folder may not be opened.
    """
    found: dict[Path | NoPicture, None] = {}
    for path in paths:
        if path.is_dir():
            found.update(dict.fromkeys(_walk(path)))
        elif path.exists():
            found[_file(path)] = None
        else:
            raise UsageError("no such file or folder", where=path)
    return list(found)


def _file(path: Path) -> Path | NoPicture:
    """``path`` where it is a file, or a link to one; else why it is not read."""
    name = file_name(path.name)
    try:
        if path.is_file():
            return path
        if path.is_symlink() and path.is_dir():
            return NoPicture(name, FOLDER_LINK)
        return NoPicture(name, NO_FILE if path.exists() else DEAD_LINK)
    except OSError as error:  # a circle of links
        return NoPicture(name, f"{DEAD_LINK} ({error.strerror or error})")


def _walk(folder: Path) -> Iterator[Path | NoPicture]:
    try:
        entries = sorted(os.scandir(folder), key=lambda e: natural_key(e.name))
    except OSError as error:
        raise StorageError(
            "the folder cannot be opened", where=folder, remedy=error.strerror or ""
        ) from error
    # the ``tmp`` of a maildir holds mails still being delivered
    is_maildir = all((folder / part).is_dir() for part in ("cur", "new", "tmp"))
    folders: list[Path] = []
    for entry in entries:
        if entry.name.startswith((".", "~$")) or entry.name.lower() in SYSTEM_FILES:
            continue
        if not entry.is_dir(follow_symlinks=False):
            yield _file(Path(entry.path))
        elif not (is_maildir and entry.name == "tmp"):
            folders.append(Path(entry.path))
    for inner in folders:
        yield from _walk(inner)


class SettledFiles:
    """Tells new or changed files that have stayed as they are for ``quiet_s`` seconds, each once.

    The clock is the caller's (seconds, monotonic). A file that vanishes is forgotten, so that one
    of the same name is new again.
    """

    def __init__(self, quiet_s: float) -> None:
        self._quiet_s = quiet_s
        self._since: dict[Path, tuple[Signature, float]] = {}
        self._taken: dict[Path, Signature] = {}

    def among(self, paths: Iterable[Path], now_s: float) -> list[Path]:
        """Those of ``paths``, in their order, that have settled and were not :meth:`taken` yet."""
        there = {path: signature for path in paths if (signature := _signature(path))}
        before = self._since
        self._since = {
            path: before[path] if before.get(path, ("", 0))[0] == signature else (signature, now_s)
            for path, signature in there.items()
        }
        self._taken = {path: seen for path, seen in self._taken.items() if path in there}
        return [
            path
            for path, (signature, since) in self._since.items()
            if now_s - since >= self._quiet_s and self._taken.get(path) != signature
        ]

    def taken(self, paths: Iterable[Path]) -> None:
        """Note that ``paths``, as they were last seen, need not be told of again."""
        self._taken.update({path: self._since[path][0] for path in paths if path in self._since})


def _signature(path: Path) -> Signature | None:
    """None for a file that is gone or can't be looked at."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns
