"""Whatever the study's folder is called, its record lies in it."""

from __future__ import annotations

import os
import sqlite3
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest
import stand_in
from stand_in import says
from thorough import every

from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.written_areas import bare_picture
from sheet_reader.record.originals.backup import backup
from sheet_reader.record.originals.restore import restore
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.people.erase import erase
from sheet_reader.record.store.store import Record

NAMES = [
    "c%20d", "c d", "what?x=1", "a#b", "100%", "%", "x&mode=memory", "file:x", ":memory:",
    "b?uri=true", "Wiese am Bächle", "池", "a;b", "a'b", 'a"b', "a\\b", "a\nb",
    os.fsdecode(b"latin-\xe9"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "relative"), every(3, product(NAMES, (False, True))))
def test_a_record_lies_in_its_folder(
    tmp_path: Path, name: str, relative: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    place = tmp_path / "studies"
    (place / name / "inbox").mkdir(parents=True)
    for neighbour in ("c d", "what", "a"):
        (place / neighbour).mkdir(exist_ok=True)
    (place / name / "inbox" / "Pat Doe.png").write_bytes(stand_in.photo(says()))
    study = stand_in.a_study(Path("studies") / name if relative else place / name)
    read_batch(study, reader=stand_in.read, jobs=0)
    assert (place / name / "record.sqlite").is_file()
    done = backup(study, tmp_path / "b.tar")
    restore(done.file, tmp_path / "again")
    erase(study, "Pat Doe", bare_picture)
    for checked in (study, replace(study, folder=tmp_path / "again")):
        assert verify(checked).sound
        with Record.open(checked, for_reading=True) as record:
            assert len(record.visits()) == 1
    found = [p for p in tmp_path.rglob("record.sqlite*") if "again" not in p.parts]
    assert {p.parent for p in found} == {place / name}
    raw = sqlite3.connect(place / name / "record.sqlite")
    assert raw.execute("SELECT count(*) FROM photos").fetchone() == (1,)
    raw.close()
