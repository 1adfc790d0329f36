"""Write result files whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from sheet_reader.atomic import atomic_write
from sheet_reader.errors import StorageError


def write_together(
    folder: Path, files: Mapping[str, bytes], *, before: Callable[[], object] = lambda: None
) -> list[Path]:
    """Write all ``files`` into ``folder`` (made if missing), replacing older ones; a name may lead
    into a folder below (``data-package/rows.csv``). A full disk leaves the old files whole.
    ``before`` as in :func:`atomic_write`.
    Raises StorageError.
    """
    whole = {folder / name: content for name, content in files.items()}
    try:
        atomic_write(whole, before=before)
    except OSError as error:
        raise StorageError(
            f"cannot write here: {(error.strerror or str(error)).lower()}",
            where=folder,
            remedy="choose another folder with --out",
        ) from error
    return list(whole)


def write_file(path: Path, content: bytes) -> Path:
    """Write one file, whole or not at all, and give its path. Raises StorageError."""
    return write_together(path.parent, {path.name: content})[0]
