"""How many photos a second one writer commits to a record on SQLite and on PostgreSQL.

    python tests/faults/commits.py --photos 300

A photo is claimed and its page of made-up readings is kept: two transactions that wait for the
disk, as in a batch. Told are photos a second on the clock and the time of this process's processor
for each, and the bytes that a photo takes in the record.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import database_server
from sqlalchemy import text

from sheet_reader.demo.samples import copy_sample
from sheet_reader.intake.files import Origin
from sheet_reader.reading.photo import default_reader, read_bytes
from sheet_reader.reading.site_history import SiteHistory
from sheet_reader.record.history import found
from sheet_reader.record.history.found import PhotoResult
from sheet_reader.record.store import claims
from sheet_reader.record.store.claims import Task
from sheet_reader.record.store.engine import URL_VARIABLE
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.kept_layouts import whole_book
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import photo_of
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study


def a_result(study: Study) -> tuple[int, PhotoResult]:
    """Bytes of a simulated photograph, and what it gives."""
    book = whole_book(study)
    data = photo_of(book, ProceduralHands(), "typical", 1).data
    history = SiteHistory(study)
    found = read_bytes(
        data, "a.jpg", study, book, study.season.last, default_reader(), history=history
    )
    return len(data), found


def measure(study: Study, photos: int, result: PhotoResult) -> tuple[float, float, float]:
    """Photos a second on the clock, seconds of the processor for one, bytes of record for one."""
    tasks = []
    with Record.open(study) as record:
        with record.writing() as connection:
            for number in range(photos):
                name, digest = f"{number}.jpg", f"{number:064x}"
                place = f"originals/00/{digest}.jpg"
                origin = Origin("folder", name)
                photo, _ = photos.add_photo(connection, digest, name, place, 1, origin)
                tasks.append(Task(photo, name, place, 0))
        before, token = size_of(record), claims.my_token()
        began, worked = time.monotonic(), time.process_time()
        for task in tasks:
            with record.writing() as connection:
                claims.claim(connection, task, token)
            with record.writing() as connection:
                found.finish(connection, task, token, result, "made up", "")
        took, used = time.monotonic() - began, time.process_time() - worked
        return photos / took, used / photos, (size_of(record) - before) / photos


def size_of(record: Record) -> int:
    """Bytes that the record takes on its disk."""
    with record.engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            query = "SELECT pg_database_size(current_database())"
            return int(connection.scalar(text(query)) or 0)
        pages: Any = connection.scalar(text("PRAGMA page_count"))
        return int(pages) * int(connection.scalar(text("PRAGMA page_size")) or 0)


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--photos", type=int, default=300)
    given = parser.parse_args(arguments)
    os.environ.pop(URL_VARIABLE, None)
    with (
        tempfile.TemporaryDirectory(prefix="commits") as place,
        tempfile.TemporaryDirectory(prefix="pg") as folder,
        database_server.running(Path(folder), onto_disk=True) as url,
    ):
        copy_sample("bean_tips", Path(place) / "beans")
        study = read_study(Path(place) / "beans")
        size, result = a_result(study)
        fields = sum(len(page.fields) for page in result.pages)
        print(f"a photo of {size / 1e6:.1f} MB gives {fields} readings")
        for name, address in (("SQLite", ""), ("PostgreSQL", url)):
            os.environ[URL_VARIABLE] = address
            rate, used, taken = measure(study, given.photos, result)
            print(
                f"{name:<11}{rate:7.1f} photos a second, {used * 1000:.1f} ms of the processor "
                f"and {taken / 1000:.0f} kB of record for each",
                flush=True,
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
