"""What holds personal data is for its owner's eyes only, whatever the umask."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import decided
import pytest
from new_records import made_by_all_steps as copied_records  # noqa: F401
from stand_in import says

from sheet_reader.reading.tally import BatchSummary
from sheet_reader.record.history.answers import Value
from sheet_reader.record.originals.backup import backup
from sheet_reader.record.originals.restore import restore
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., BatchSummary]
pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs POSIX permissions")


@pytest.fixture(params=[0o000, 0o022, 0o077])
def umask(request: pytest.FixtureRequest) -> Iterator[None]:
    before = os.umask(request.param)
    yield
    os.umask(before)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def private(folder: Path) -> list[Path]:
    return [
        *folder.glob("record.sqlite*"),
        folder / "originals",
        *(folder / "originals").rglob("*"),
    ]


def check(folder: Path) -> None:
    paths = private(folder)
    assert len(paths) >= 4
    for path in paths:
        assert oct(mode(path)) == oct(0o700 if path.is_dir() else 0o600), path


@pytest.mark.usefixtures("umask")
def test_record_and_originals_are_private(study: Study, post: Post) -> None:
    before = mode(study.folder)
    post(says())
    with Record.open(study) as record:
        decided.decide(record, record.readings()[0].reading_id, Value("1004"), by="Ada")
        assert len(list(study.folder.glob("record.sqlite-*"))) == 2
        check(study.folder)
    check(study.folder)
    assert mode(study.folder) == before


@pytest.mark.usefixtures("umask")
def test_backups_are_private_also_once_unpacked(study: Study, post: Post, tmp_path: Path) -> None:
    post(says())
    for _ in range(2):
        done = backup(study, tmp_path / "b.tar")
        assert oct(mode(done.file)) == oct(0o600)
        done.file.chmod(0o644)
    restore(done.file, tmp_path / "again")
    assert oct(mode(tmp_path / "again")) == oct(0o700)
    check(tmp_path / "again")


def test_an_open_record_is_tightened(study: Study, post: Post) -> None:
    post(says())
    for path in private(study.folder):
        path.chmod(0o755 if path.is_dir() else 0o644)
    with Record.open(study):
        check(study.folder)
