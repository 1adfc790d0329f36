"""Write result files whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from sheet_reader.errors import StorageError


def write_together(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write all ``files`` into ``folder`` (made if missing), replacing older ones; a name may lead
    into a folder below (``data-package/rows.csv``).

    Each is first written under a temporary name; only when all are on disk do they get their
    names, so that a full disk leaves the old files whole. Raises StorageError.
    """
    temporary = {name: _temporary(folder / name) for name in files}
    try:
        for name, content in files.items():
            temporary[name].parent.mkdir(parents=True, exist_ok=True)
            _write_through(temporary[name], content)
        return [temporary[name].replace(folder / name) for name in files]
    except OSError as error:
        for path in temporary.values():
            _forget(path)
        raise StorageError(
            f"cannot write here: {(error.strerror or str(error)).lower()}",
            where=folder,
            remedy="choose another folder with --out",
        ) from error


def write_file(path: Path, content: bytes) -> Path:
    """Write one file, whole or not at all, and give its path. Raises StorageError."""
    return write_together(path.parent, {path.name: content})[0]


def _temporary(path: Path) -> Path:
    return path.with_name(f".{path.name}.{os.getpid()}.part")


def _write_through(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _forget(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return
