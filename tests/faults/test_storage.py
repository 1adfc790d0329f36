"""Full, failing and read-only disks: a clear line, and nothing that was saved is lost."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import decided
import pytest
from thorough import only

sys.path.insert(0, str(Path(__file__).parent))

import fault_work  # noqa: F401 - makes the stand-in importable
import stand_in

from sheet_reader.errors import SheetReaderError, StorageError
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.record.history.answers import Value
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.engine import storage_error
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

PHOTOS = 4


@pytest.fixture
def study(tmp_path: Path) -> Study:
    folder = tmp_path / "ponds"
    (folder / "inbox").mkdir(parents=True)
    for number in range(PHOTOS):
        said = stand_in.says({"date": f"2026-05-{number + 1:02}"}, flagged={"sun.eggs": "3"})
        (folder / "inbox" / f"p{number}.png").write_bytes(stand_in.photo(said, seed=number))
    return stand_in.a_study(folder)


def read(study: Study) -> BatchSummary:
    return read_batch(study, reader=stand_in.read, jobs=0)


def check_and_finish(study: Study) -> None:
    assert verify(study).problems == ()
    read(study)
    assert verify(study).problems == ()
    with Record.open(study) as record:
        assert record.summary().photos == {"read": PHOTOS}


@contextlib.contextmanager
def largest_file(size: int) -> Iterator[None]:
    """As on a full disk, no file of this process can grow beyond ``size`` bytes."""
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("size", [100, 1_000, 20_000, 60_000, 90_000, 120_000, 160_000, 250_000])
def test_a_full_disk_while_reading(study: Study, size: int) -> None:
    said = ""
    with largest_file(size):
        try:
            read(study)
        except StorageError as error:
            said = str(error)
    assert said or size > 100_000
    assert "\n" not in said
    check_and_finish(study)


def test_no_room_for_an_original(study: Study) -> None:
    read(study)
    large = study.folder / "inbox" / "z.pdf"
    large.write_bytes(b"%PDF-1.4\n" + b"x" * 600_000)
    with largest_file(500_000), pytest.raises(StorageError):
        read(study)
    large.unlink()
    assert not list(study.folder.rglob(".new-*"))
    check_and_finish(study)


def test_no_space_left_is_said_plainly() -> None:
    error = storage_error(OSError(errno.ENOSPC, "No space left on device"), "originals")
    assert "the disk is full" in str(error)


def test_a_full_disk_while_reviewing_keeps_the_answers_given(study: Study) -> None:
    read(study)
    given, said = 0, ""
    size = (study.folder / "record.sqlite").stat().st_size
    with Record.open(study) as record, largest_file(size + 8_000):
        items = decided.pending(record)
        try:
            for item in items * 20:
                decided.decide(record, item.reading_id, Value("9"), by="Ada")
                given += 1
        except StorageError as error:
            said = str(error)
    assert "disk is full" in said
    with Record.open(study) as record:
        again = record.history("1004", "2026-05-01")
        assert sum(e.what == "corrected" for e in again) == -(-given // PHOTOS)
        decided.decide(record, items[0].reading_id, Value("8"), by="Ada")
    check_and_finish(study)


def test_each_sync_of_an_original_failing_once(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    sync, calls = os.fsync, [0, 0]

    def failing(handle: int) -> None:
        calls[0] += 1
        if calls[0] == calls[1]:
            raise OSError(5, "Input/output error")
        sync(handle)

    monkeypatch.setattr(os, "fsync", failing)
    failures, said = 0, ""
    for at in range(1, 40):
        calls[:] = [0, at]
        try:
            read(study)
            break
        except StorageError as error:
            said = str(error).lower()
            failures += 1
            assert verify(study).problems == ()
    assert failures >= PHOTOS
    assert "input/output error" in said
    check_and_finish(study)


@pytest.fixture(scope="module")
def failing_sync() -> Iterator[Path]:
    compiler = shutil.which("cc")
    if compiler is None or not sys.platform.startswith("linux"):
        pytest.skip("no C compiler, or not Linux")
    with tempfile.TemporaryDirectory() as folder:
        library = Path(folder, "failing_sync.so")
        source = Path(__file__).with_name("failing_sync.c")
        subprocess.run([compiler, "-shared", "-fPIC", "-o", library, source], check=True)
        yield library


SCRIPT = """
import sys
sys.path.insert(0, {tests!r})
import fault_work, stand_in
from pathlib import Path
from sheet_reader.errors import SheetReaderError
from sheet_reader.reading.batch import read_batch
try:
    read_batch(stand_in.a_study(Path({folder!r})), reader=stand_in.read, jobs=0)
except SheetReaderError as error:
    print(error)
    sys.exit(error.exit_code)
"""


@pytest.mark.slow
@pytest.mark.parametrize("at", [1, 7, 22, *map(only, (2, 4, 11, 16, 29, 37))])
def test_any_sync_of_the_whole_process_failing(study: Study, failing_sync: Path, at: int) -> None:
    """Also those of the database, deep in SQLite."""
    script = SCRIPT.format(tests=str(Path(__file__).parent), folder=str(study.folder))
    done = subprocess.run(
        [sys.executable, "-c", script],
        env=os.environ | {"LD_PRELOAD": str(failing_sync), "FAIL_AT": str(at)},
        capture_output=True,
        text=True,
    )
    assert "Traceback" not in done.stderr
    assert done.returncode in (0, 3, 4)
    assert len(done.stdout.splitlines()) == (done.returncode != 0)
    if (study.folder / "record.sqlite").exists():
        check_and_finish(study)


@contextlib.contextmanager
def as_nobody() -> Iterator[None]:
    """Root may write anywhere: be someone else for a while."""
    if os.name == "nt":
        pytest.skip("needs POSIX permissions")
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_folder_without_write_permission() -> None:
    with tempfile.TemporaryDirectory() as place:
        study = stand_in.a_study(Path(place, "ponds"))
        (study.folder / "inbox").mkdir(parents=True)
        (study.folder / "inbox" / "p.png").write_bytes(stand_in.photo(stand_in.says()))
        Path(place).chmod(0o755)
        study.folder.chmod(0o555)
        with as_nobody(), pytest.raises(StorageError, match="cannot be written"):
            read(study)
        study.folder.chmod(0o755)
        read(study)
        with Record.open(study) as record:
            before = record.visits()
        files = [study.folder, *study.folder.rglob("*")]
        for path in files:
            path.chmod(0o555 if path.is_dir() else 0o444)
        with as_nobody(), pytest.raises(SheetReaderError) as caught, Record.open(study) as record:
            decided.decide(record, record.readings()[0].reading_id, Value("1004"), by="Ada")
        assert caught.value.exit_code == 3
        for path in files:
            path.chmod(0o755 if path.is_dir() else 0o644)
        with Record.open(study) as record:
            assert record.visits() == before
