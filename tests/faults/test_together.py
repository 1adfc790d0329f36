"""Several processes at one record: two reads, and a read beside a review."""

from __future__ import annotations

import contextlib
import multiprocessing
import sqlite3
import sys
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest
from thorough import or_fewer

sys.path.insert(0, str(Path(__file__).parent))

import fault_work
import stand_in

from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study


@pytest.fixture
def study(tmp_path: Path) -> Study:
    folder = tmp_path / "ponds"
    (folder / "inbox").mkdir(parents=True)
    return stand_in.a_study(folder)


def post(study: Study, first: int, count: int) -> None:
    for number in range(first, first + count):
        said = stand_in.says(
            {
                "date": f"2026-{5 + number % 28 // 14:02}-{13 + number % 14}",
                "site": ("1004", "1010")[number // 28],
            },
            flagged={"sun.eggs": "3", "helpers": None},
            seconds=0.01,
        )
        path = study.folder / "inbox" / f"p{number}.png"
        path.write_bytes(stand_in.photo(said, seed=number))


def start(target: Any, study: Study) -> tuple[Any, Connection]:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=target, args=(study.folder, theirs))
    process.start()
    theirs.close()
    assert ours.recv() == "ready"
    return process, ours


def told(pipe: Connection) -> list[Any]:
    said = []
    with contextlib.suppress(EOFError):
        while True:
            said.append(pipe.recv())
    pipe.close()
    return said


def attempts(study: Study) -> list[int]:
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        return [row[0] for row in raw.execute("SELECT attempts FROM photos ORDER BY id")]


def test_two_reads_at_once_share_the_work(study: Study) -> None:
    photos = or_fewer(40, 16)
    post(study, 0, photos)
    runs = [start(fault_work.read, study) for _ in range(2)]
    for process, pipe in runs:
        told(pipe)
        process.join()
        assert process.exitcode == 0
    assert attempts(study) == [1] * photos, "a photo was read twice"
    assert verify(study).problems == ()
    with Record.open(study) as record:
        assert len(record.visits()) == photos


def test_a_read_beside_a_review(study: Study) -> None:
    post(study, 0, 12)
    first, pipe = start(fault_work.read, study)
    told(pipe)
    first.join()
    post(study, 12, 40)
    review, answers = start(fault_work.review, study)
    read, pipe = start(fault_work.read, study)
    given = told(answers)
    told(pipe)
    for process in (review, read):
        process.join()
        assert process.exitcode == 0
    assert len(given) == 24
    assert verify(study).problems == ()
    with Record.open(study) as record:
        assert record.summary().photos == {"read": 52}
        assert record.summary().waiting == 80
        decided = {r.reading_id: r.value for r in record.readings()}
    assert all(decided[reading_id] == value for reading_id, value in given)
