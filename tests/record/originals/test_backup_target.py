"""Where a backup may be written, and what it holds."""

from __future__ import annotations

import os
import stat
import tarfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import stand_in
from stand_in import says

from sheet_reader.errors import RecordError, SheetReaderError, UsageError
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.record.originals.backup import backup
from sheet_reader.record.originals.restore import restore
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.record_file import copy_record
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., BatchSummary]


def everything(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.endswith(("-wal", "-shm"))
    }


@pytest.mark.parametrize(
    "name",
    [
        "record.sqlite", "study.toml", "sites.csv", "inbox/photo1.png", "inbox/new.tar", "inbox",
        "originals/new.tar", "originals/ab/new.tar", "record.sqlite-wal", "record.sqlite-journal",
        "link to the record", "hard link", "pipe", "own.tar", "empty",
    ],
)  # fmt: skip
def test_a_backup_replaces_nothing_of_yours(study: Study, post: Post, name: str) -> None:
    post(says())
    folder = study.folder
    (folder / "study.toml").write_text("title = 'Pond snails'")
    (folder / "sites.csv").write_text("number,label,contact\n")
    (folder / "originals" / "ab").mkdir(exist_ok=True)
    (folder / "link to the record").symlink_to("record.sqlite")
    os.link(folder / "study.toml", folder / "hard link")
    os.mkfifo(folder / "pipe")
    (folder / "empty").touch()
    with tarfile.open(folder / "own.tar", "w") as archive:
        archive.add(folder / "study.toml", "study.toml")
    before = everything(folder)
    with pytest.raises(UsageError) as caught:
        backup(study, folder / name)
    assert caught.value.remedy
    assert everything(folder) == before
    with Record.open(study) as record:
        assert len(record.photos()) == 1


def test_a_backup_replaces_no_device(study: Study, post: Post, tmp_path: Path) -> None:
    """A device of the test's own: the system's must never be at stake."""
    post(says())
    device = tmp_path / "device"
    try:
        os.mknod(device, stat.S_IFCHR | 0o600, os.makedev(1, 3))
    except PermissionError:
        pytest.skip("only root makes devices")
    with pytest.raises(UsageError, match="no backup"):
        backup(study, device)
    assert device.is_char_device()


def test_a_backup_replaces_an_earlier_one(study: Study, post: Post, tmp_path: Path) -> None:
    post(says())
    first = backup(study, tmp_path / "b.tar")
    post(says({"site": "1010"}))
    (tmp_path / "link.tar").symlink_to("b.tar")
    second = backup(study, tmp_path / "link.tar")
    assert (first.photos, second.photos) == (1, 2)
    assert (tmp_path / "link.tar").is_symlink()
    restore(tmp_path / "b.tar", tmp_path / "again")
    with Record.open(replace(study, folder=tmp_path / "again")) as record:
        assert len(record.photos()) == 2


@pytest.mark.parametrize("name", ["sites 2026.txt", "Stellen.CSV", ".sites", "liste"])
def test_a_backup_holds_the_list_whatever_its_name(
    study: Study, post: Post, tmp_path: Path, name: str
) -> None:
    post(says())
    (study.folder / name).write_text("number,label,contact\n1004,Mill,Pat\n")
    done = backup(replace(study, sites_file=name), tmp_path / "b.tar")
    assert done.problems == ()
    restore(done.file, tmp_path / "again")
    assert (tmp_path / "again" / name).read_text().endswith("Pat\n")


def test_a_backup_follows_links_and_names_what_it_cannot_take(
    study: Study, post: Post, tmp_path: Path
) -> None:
    post(says())
    (tmp_path / "shared.csv").write_text("number,label,contact\n")
    (study.folder / "sites.csv").symlink_to(tmp_path / "shared.csv")
    (study.folder / "gone.csv").symlink_to(tmp_path / "gone.csv")
    (study.folder / "folder.csv").mkdir()
    (study.folder / "a\\b.csv").write_text("x")
    os.mkfifo(study.folder / "pipe.csv")
    done = backup(study, tmp_path / "b.tar")
    with tarfile.open(done.file) as archive:
        members = archive.getmembers()
        archive.extractall(tmp_path / "by hand", filter="data")
    assert all(member.isreg() for member in members)
    assert "sites.csv" in {member.name for member in members}
    assert ["gone.csv" in line for line in done.problems] == [True]
    assert any("pipe.csv" in line for line in done.notes)
    assert any("a\\b.csv" in line for line in done.notes)
    restore(done.file, tmp_path / "again")


def test_originals_that_are_links_are_taken_whole(study: Study, post: Post, tmp_path: Path) -> None:
    post(says())
    (study.folder / "originals").rename(tmp_path / "disk")
    (study.folder / "originals").symlink_to(tmp_path / "disk")
    done = backup(study, tmp_path / "b.tar")
    assert (done.photos, done.problems) == (1, ())
    restore(done.file, tmp_path / "again")


@pytest.mark.parametrize("damage", ["missing", "changed", "dangling"])
def test_a_backup_without_a_photo_does_not_look_complete(
    study: Study, post: Post, tmp_path: Path, damage: str
) -> None:
    post(says())
    post(says({"site": "1010"}))
    good = backup(study, tmp_path / "b.tar").file.read_bytes()
    with Record.open(study) as record:
        path = record.photo_path(1)
    if damage == "changed":
        path.write_bytes(path.read_bytes() + b"!")
    else:
        path.unlink()
    if damage == "dangling":
        path.symlink_to(tmp_path / "nowhere")
    with pytest.raises(RecordError, match=r"photo1\.png") as caught:
        backup(study, tmp_path / "b.tar")
    assert "another name" in caught.value.remedy
    assert (tmp_path / "b.tar").read_bytes() == good
    done = backup(study, tmp_path / "c.tar")
    assert len(done.problems) == 1
    assert "photo1.png" in done.problems[0]
    (lacking,) = restore(done.file, tmp_path / "again").compared.lacks
    assert lacking.startswith("the original of photo1.png")
    (tmp_path / "b.tar").write_bytes(good)
    restore(tmp_path / "b.tar", tmp_path / "again")
    assert restore(done.file, tmp_path / "again").compared.lacks == ()
    assert verify(replace(study, folder=tmp_path / "again")).problems == ()


def test_a_photo_kept_while_the_backup_is_made_is_left_to_the_next(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The record is copied before the first photo of all is kept, the originals after it."""
    with Record.open(study):
        pass

    def copied_just_before(source: Path, target: Path) -> None:
        copy_record(source, target)
        (study.folder / "inbox" / "a.png").write_bytes(stand_in.photo(says()))
        read_batch(study, reader=stand_in.read, jobs=0)

    with monkeypatch.context() as patch:
        patch.setattr("sheet_reader.record.originals.backup.copy_record", copied_just_before)
        done = backup(study, tmp_path / "b.tar")
    assert done.photos == 0
    restore(done.file, tmp_path / "again")
    assert verify(replace(study, folder=tmp_path / "again")).sound
    assert backup(study, tmp_path / "b.tar").photos == 1


def test_no_place_that_may_be_written(study: Study, post: Post, tmp_path: Path) -> None:
    post(says())
    with pytest.raises(SheetReaderError):
        backup(study, tmp_path / "study.tar" / "b.tar")
