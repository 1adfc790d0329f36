"""Write result files whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from sheet_reader.atomic import atomic_write
from sheet_reader.errors import StorageError


def write_together(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write all ``files`` into ``folder`` (made if missing), replacing older ones; a full disk
    leaves the old files whole. Raises StorageError.
    """
    whole = {folder / name: content for name, content in files.items()}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        atomic_write(whole)
    except OSError as error:
        raise StorageError(
            f"cannot write here: {(error.strerror or str(error)).lower()}",
            where=folder,
            remedy="choose another folder with --out",
        ) from error
    return list(whole)
