"""Records as earlier versions kept them."""

from __future__ import annotations

import contextlib
import gzip
import sqlite3
from pathlib import Path

from sheet_reader.record.engine import open_engine, sqlite_url
from sheet_reader.record.migrations import MIGRATIONS, migrate

FORMER_NAMES = {
    "photos": "photos",
    "origins": "origins",
    "page_instances": "sightings",
    "reading_runs": "looks",
    "readings": "readings",
    "decisions": "decisions",
}
FORMER_COLUMNS = {
    "sighting_id": "page_instance_id",
    "look_id": "run_id",
    "looks_before": "runs_before",
}


def copy_as_older(new: Path, old: Path, steps: int = 2) -> None:
    """The rows of the record ``new`` in a record of the first ``steps`` at ``old``."""
    engine = open_engine(sqlite_url(old))
    migrate(engine, MIGRATIONS[:steps])
    engine.dispose()
    with contextlib.closing(sqlite3.connect(old)) as raw:
        raw.execute("ATTACH ? AS new", (str(new),))
        for table, former in FORMER_NAMES.items():
            names = [row[1] for row in raw.execute(f"PRAGMA main.table_info({former})")]
            values = ", ".join(f'"{FORMER_COLUMNS.get(name, name)}"' for name in names)
            raw.execute(f"INSERT INTO main.{former} SELECT {values} FROM new.{table}")
        raw.commit()


def unpack(dump: Path, record: Path) -> None:
    """The record that ``dump`` holds as SQL, packed or not."""
    data = dump.read_bytes()
    script = (gzip.decompress(data) if dump.suffix == ".gz" else data).decode()
    with contextlib.closing(sqlite3.connect(record)) as raw:
        raw.executescript(script)
