"""The files meant by a list of files and folders, in the order a person expects."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from sheet_reader.errors import StorageError, UsageError
from sheet_reader.intake.names import natural_key

SYSTEM_FILES = frozenset({"thumbs.db", "desktop.ini", "icon\r"})
INBOX = "inbox"


def gather(paths: Iterable[Path]) -> list[Path]:
    """All files under ``paths``, each once: folders are walked whole, ``scan2`` before ``scan10``.

    Hidden files and folders, the system's own files and links are left out where they are found
    by walking; what a person names is taken as named. Raises :class:`UsageError` where a path
    does not exist and :class:`StorageError` where a folder may not be opened.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            found.update(dict.fromkeys(_walk(path)))
        elif path.exists():
            found[path] = None
        else:
            raise UsageError("no such file or folder", where=path)
    return list(found)


def _walk(folder: Path) -> Iterator[Path]:
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
        elif entry.is_file(follow_symlinks=False):
            yield Path(entry.path)
    for inner in folders:
        yield from _walk(inner)


def _is_maildir(folder: Path) -> bool:
    """Whether this is a maildir, whose ``tmp`` holds mails still being delivered."""
    return all((folder / part).is_dir() for part in ("cur", "new", "tmp"))
