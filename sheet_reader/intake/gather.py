"""The files meant by a list of files and folders, in the order a person expects."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from sheet_reader.errors import StorageError, UsageError
from sheet_reader.intake.names import file_name, natural_key
from sheet_reader.intake.types import Unreadable

SYSTEM_FILES = frozenset({"thumbs.db", "desktop.ini", "icon\r"})
INBOX = "inbox"
FOLDER_LINK = "this is a link to a folder and was not followed: name that folder itself to read it"
DEAD_LINK = "this link leads nowhere: what it pointed to is gone"
NO_FILE = "this is no file (a device or a pipe): left out"


def gather(paths: Iterable[Path]) -> list[Path | Unreadable]:
    """All files under ``paths``, each once: folders are walked whole, ``scan2`` before ``scan10``.

    Hidden files and folders and the system's own files are left out where they are found by
    walking; what a person names is taken as named. A link to a file counts as that file. A link to
    a folder, which might lead round in a circle, one that leads nowhere, and what is neither file
    nor folder (a device, a pipe) is a reason instead. Raises :class:`UsageError` where a path does
    not exist and :class:`StorageError` where a folder may not be opened.
    """
    found: dict[Path | Unreadable, None] = {}
    for path in paths:
        if path.is_dir():
            found.update(dict.fromkeys(_walk(path)))
        elif path.exists():
            found[_file(path)] = None
        else:
            raise UsageError("no such file or folder", where=path)
    return list(found)


def _file(path: Path) -> Path | Unreadable:
    """``path`` where it is a file, or a link to one; else why it is not read."""
    name = file_name(path.name)
    try:
        if path.is_file():
            return path
        if path.is_symlink() and path.is_dir():
            return Unreadable(name, FOLDER_LINK)
        return Unreadable(name, NO_FILE if path.exists() else DEAD_LINK)
    except OSError as error:  # a circle of links
        return Unreadable(name, f"{DEAD_LINK} ({error.strerror or error})")


def _walk(folder: Path) -> Iterator[Path | Unreadable]:
    try:
        entries = sorted(os.scandir(folder), key=lambda e: natural_key(e.name))
    except OSError as error:
        raise StorageError(
            "the folder cannot be opened", where=folder, remedy=error.strerror or ""
        ) from error
    folders: list[Path] = []
    unfinished_mail = _is_maildir(folder)
    for entry in entries:
        if entry.name.startswith((".", "~$")) or entry.name.lower() in SYSTEM_FILES:
            continue
        if entry.is_dir(follow_symlinks=False):
            if not (unfinished_mail and entry.name == "tmp"):
                folders.append(Path(entry.path))
        else:
            yield _file(Path(entry.path))
    for inner in folders:
        yield from _walk(inner)


def _is_maildir(folder: Path) -> bool:
    """Whether this is a maildir, whose ``tmp`` holds mails still being delivered."""
    return all((folder / part).is_dir() for part in ("cur", "new", "tmp"))
