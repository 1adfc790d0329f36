"""Photos whose kept original is missing or is not what it was."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import Connection, select

from sheet_reader.record.history.states import TYPED
from sheet_reader.record.originals import originals
from sheet_reader.record.store import schema


def original_faults(connection: Connection, folder: Path) -> Iterator[str]:
    """One line for each photo of the record whose original is missing or was changed."""
    p = schema.photos.c
    kept = select(p.name, p.original).where(p.status != TYPED).order_by(p.id)
    for row in connection.execute(kept):
        file = originals.at(folder, str(row.original))
        if not file.is_file():
            yield f"{row.name}: its original is missing ({row.original})"
        elif not originals.is_sound(file):
            yield f"{row.name}: its original was changed ({row.original})"
