from __future__ import annotations

import io
import os
import sqlite3
import tarfile
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import decided
import pytest
import stand_in
from stand_in import says

from sheet_reader.errors import RecordError, StorageError, UsageError
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.record.history.answers import Value
from sheet_reader.record.originals.backup import backup
from sheet_reader.record.originals.restore import restore
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., BatchSummary]


def test_a_backup_put_back_is_the_same_record(study: Study, post: Post, tmp_path: Path) -> None:
    post(says(flagged={"sun.eggs": "3"}))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, Value("4"), by="Ada")
        before = (record.readings(), record.visits(), record.photos())
    (study.folder / "study.toml").write_text("title = 'Pond snails'")
    done = backup(study, tmp_path / "ponds.tar")
    assert done.photos == 1
    restore(done.file, tmp_path / "again")
    copy = replace(study, folder=tmp_path / "again")
    assert verify(copy).problems == ()
    assert (tmp_path / "again" / "study.toml").exists()
    with Record.open(copy) as record:
        assert (record.readings(), record.visits(), record.photos()) == before


def test_a_backup_is_consistent_while_a_read_runs(study: Study, tmp_path: Path) -> None:
    for number in range(40):
        said = says({"site": "1010"})
        (study.folder / "inbox" / f"p{number}.png").write_bytes(stand_in.photo(said, seed=number))
    with Record.open(study):
        pass
    run = threading.Thread(
        target=read_batch, args=(study,), kwargs={"reader": stand_in.read, "jobs": 0}
    )
    run.start()
    seen = []
    for number in range(6):
        done = backup(study, tmp_path / f"{number}.tar")
        restore(done.file, tmp_path / f"r{number}")
        copy = replace(study, folder=tmp_path / f"r{number}")
        assert verify(copy).problems == ()
        with Record.open(copy) as record:
            seen.append(len(record.photos()))
    run.join()
    assert seen == sorted(seen)
    with Record.open(study) as record:
        assert record.summary().photos == {"read": 40}


@pytest.mark.parametrize("name", ["../escaped", "/tmp/escaped", "a/b", "originals/zz/x", ".."])
def test_a_backup_made_by_others_escapes_nowhere(tmp_path: Path, name: str) -> None:
    with tarfile.open(tmp_path / "b.tar", "w") as archive:
        member = tarfile.TarInfo(name)
        member.size = 5
        archive.addfile(member, io.BytesIO(b"hello"))
    with pytest.raises(StorageError, match="no backup"):
        restore(tmp_path / "b.tar", tmp_path / "again")
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["again", "b.tar"]


def test_a_link_in_a_backup_is_not_followed(tmp_path: Path) -> None:
    with tarfile.open(tmp_path / "b.tar", "w") as archive:
        link = tarfile.TarInfo("study.toml")
        link.type, link.linkname = tarfile.SYMTYPE, "/etc/passwd"
        archive.addfile(link)
    with pytest.raises(StorageError, match="no backup"):
        restore(tmp_path / "b.tar", tmp_path / "again")


def test_a_damaged_backup_is_told(tmp_path: Path) -> None:
    (tmp_path / "b.tar").write_bytes(b"not an archive")
    with pytest.raises(StorageError, match="damaged"):
        restore(tmp_path / "b.tar", tmp_path / "again")


def test_no_record_no_backup(study: Study, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no record yet"):
        backup(study, tmp_path / "b.tar")


def test_a_backup_that_cannot_be_written_is_told(study: Study, post: Post, tmp_path: Path) -> None:
    post(says())
    with pytest.raises(StorageError):
        backup(study, tmp_path / "none" / "b.tar")
    assert list(tmp_path.iterdir()) == [study.folder]


def test_verify_finds_what_is_wrong(study: Study, post: Post) -> None:
    post(says())
    post(says({"site": "1010"}))
    post(says({"site": "1022"}))
    assert verify(study).sound
    with Record.open(study) as record:
        first, second = (record.photo_path(p.photo_id) for p in record.photos()[:2])
    first.unlink()
    second.chmod(0o644)
    second.write_bytes(second.read_bytes() + b"!")
    stray = study.folder / "originals" / "ff" / ("f" * 64 + ".jpg")
    stray.parent.mkdir(exist_ok=True)
    stray.write_bytes(b"stray")
    with sqlite3.connect(study.folder / "record.sqlite") as raw:
        raw.execute("UPDATE page_instances SET photo_id = 99 WHERE photo_id = 3")
    raw.close()
    verdict = verify(study)
    assert any("photo1.png: its original is missing" in p for p in verdict.problems)
    assert any("photo2.png: its original was changed" in p for p in verdict.problems)
    assert any("refers to a line in photos" in p for p in verdict.problems)
    assert any("photo3.png counts as read" in p for p in verdict.problems)
    assert any("1 kept originals" in n for n in verdict.notes)
    assert any("layout v1" in n for n in verdict.notes)


def test_a_damaged_record_is_told(study: Study, post: Post) -> None:
    post(says())
    for ending in ("", "-wal", "-shm"):
        path = study.folder / f"record.sqlite{ending}"
        if path.exists():
            path.unlink()
    (study.folder / "record.sqlite").write_bytes(os.urandom(20_000))
    with pytest.raises(RecordError, match="damaged"):
        verify(study)
