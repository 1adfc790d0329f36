"""A backup put in place of a record, and all that may go wrong."""

from __future__ import annotations

import errno
import io
import os
import shutil
import sqlite3
import tarfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import decided
import pytest
import stand_in
from fixtures import post_to
from sqlalchemy import event
from stand_in import says
from thorough import or_fewer

from sheet_reader.errors import RecordError, StorageError, UnavailableError, UsageError
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.record.history.answers import Value
from sheet_reader.record.originals.backup import backup
from sheet_reader.record.originals.backup_contents import BackupContents
from sheet_reader.record.originals.restore import restore
from sheet_reader.record.originals.verify import must_be_sound, verify
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., BatchSummary]
State = list[Any]


def decide(study: Study, value: str) -> None:
    with Record.open(study) as record:
        decided.decide(record, record.readings()[-1].reading_id, Value(value), by="Ada")


def state(study: Study) -> State:
    with Record.open(study) as record:
        must_be_sound(record)
        return [record.readings(), record.visits(), record.photos()]


@pytest.fixture(scope="module")
def backed_up(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a study, and a backup of it beside."""
    place = tmp_path_factory.mktemp("backed_up")
    study = stand_in.a_study(place / "ponds")
    post_to(study, says(flagged={"sun.eggs": "3"}))
    decide(study, "4")
    backup(study, place / "ponds %20?.tar")
    post_to(study, says({"site": "1010"}))
    decide(study, "5")
    return place


@pytest.fixture
def tar(study: Study, backed_up: Path, tmp_path: Path) -> Path:
    """A backup of one photo and a decision, after which more has come in."""
    shutil.copytree(backed_up / "ponds", study.folder, dirs_exist_ok=True)
    return Path(shutil.copy2(backed_up / "ponds %20?.tar", tmp_path))


def test_a_record_is_set_aside_whole_and_what_is_lacking_is_told(study: Study, tar: Path) -> None:
    now = state(study)
    told: list[BackupContents] = []
    done = restore(tar, study.folder, told.append)
    assert told == [done.compared]
    assert done.compared.lacks == ("1 photo that came since", "1 answer given since")
    assert len(done.compared.restored.photos) == 1
    assert verify(study).problems == ()
    assert len(state(study)[2]) == 1
    assert done.aside is not None
    aside = replace(study, folder=done.aside)
    assert state(aside) == now
    assert verify(aside).problems == ()


def test_nothing_is_changed_where_it_is_not_agreed(study: Study, tar: Path) -> None:
    def no(_: BackupContents) -> None:
        raise KeyboardInterrupt

    now, files = state(study), sorted(study.folder.rglob("*"))
    with pytest.raises(KeyboardInterrupt):
        restore(tar, study.folder, no)
    assert state(study) == now
    assert sorted(study.folder.rglob("*")) == files


class Cut(BaseException):
    """The power is cut."""


@contextmanager
def cut_at(number: int, patch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """Nothing on the disk changes any more from this change on."""
    done: list[str] = []

    def counting(name: str) -> Callable[..., Any]:
        real = getattr(os, name)

        def call(*args: Any, **more: Any) -> Any:
            if len(done) >= number:
                raise Cut(name)
            done.append(name)
            return real(*args, **more)

        return call

    with patch.context() as inner:
        for name in ("replace", "rename", "link", "unlink", "mkdir", "rmdir"):
            inner.setattr(os, name, counting(name))
        yield done


def photos_or_refused(study: Study) -> int:
    """How many photos the record knows, -1 where it is not opened."""
    try:
        return len(state(study)[2])
    except RecordError as error:
        return -1 if "belongs to another state" in error.what else -2


def test_a_kill_at_any_step_loses_nothing(
    study: Study, tar: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crashed = study.folder.with_name("crashed")
    with Record.open(study) as record:  # a log is left, as by a killed program
        decided.decide(record, record.readings()[0].reading_id, Value("1022"), by="Ada")
        shutil.copytree(study.folder, crashed)
    assert (crashed / "record.sqlite-wal").stat().st_size
    now, ends = state(study), set()
    for number in range(0, 200, or_fewer(1, 3)):
        folder = tmp_path / f"k{number}"
        shutil.copytree(crashed, folder)
        killed = replace(study, folder=folder)
        try:
            with cut_at(number, monkeypatch) as done:
                restore(tar, folder)
        except Cut:
            pass
        else:
            assert len(done) <= number
            break
        ends.add(found := photos_or_refused(killed))
        if found == 2:
            assert state(killed) == now
        elif found == -1:
            asides = [*folder.glob("before-restore-*")]
            assert [state(replace(study, folder=a)) for a in asides] == [now]
        restore(tar, folder)
        assert len(state(killed)[2]) == 1
        assert verify(killed).problems == ()
        shutil.rmtree(folder)
    assert ends == {2, -1, 1}, "each moment was hit: before, between and after"


def test_a_log_that_was_left_is_not_mixed_with_a_backup(study: Study, tar: Path) -> None:
    with Record.open(study) as record:
        decided.decide(record, record.readings()[0].reading_id, Value("1022"), by="Ada")
        log = (study.folder / "record.sqlite-wal").read_bytes()
    with tarfile.open(tar) as archive:
        archive.extract("record.sqlite", study.folder, filter="data")
    (study.folder / "record.sqlite-wal").write_bytes(log)
    before = [(study.folder / f"record.sqlite{e}").read_bytes() for e in ("", "-wal")]
    for _ in range(2):
        with pytest.raises(RecordError, match="belongs to another state of it"):
            Record.open(study, for_reading=True)
        with pytest.raises(RecordError, match="belongs to another state of it"):
            backup(study, study.folder / "new.tar")
    assert [(study.folder / f"record.sqlite{e}").read_bytes() for e in ("", "-wal")] == before
    done = restore(tar, study.folder)
    assert done.compared.lacks[0].startswith("the present record can't be read")
    assert done.aside is not None
    assert (done.aside / "record.sqlite-wal").read_bytes() == log
    assert verify(study).problems == ()


def test_a_log_of_its_own_is_taken_up(study: Study, post: Post, tmp_path: Path) -> None:
    post(says(flagged={"sun.eggs": "3"}))
    for number in range(6):
        with Record.open(study) as record:
            decided.decide(record, record.readings()[-1].reading_id, Value(str(number)), by="Ada")
            if number % 2:  # part of it is in the file already, and the log begun anew
                with closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
                    raw.execute("PRAGMA wal_checkpoint(RESTART)")
                decided.decide(record, record.readings()[-1].reading_id, Value("9"), by="Ada")
            place = tmp_path / f"crashed{number}"
            shutil.copytree(study.folder, place)
            now = record.readings()
        with Record.open(replace(study, folder=place)) as record:
            assert record.readings() == now


def test_a_record_that_is_open_is_left_alone(study: Study, tar: Path) -> None:
    import subprocess
    import sys

    hold = (
        "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); "
        "c.execute('PRAGMA journal_mode = WAL'); c.execute('SELECT * FROM photos').fetchone(); "
        "print('open', flush=True); sys.stdin.read()"
    )
    file = str(study.folder / "record.sqlite")
    with subprocess.Popen(
        [sys.executable, "-c", hold, file], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "open\n"
        with pytest.raises(UnavailableError, match="another program has the record open"):
            restore(tar, study.folder)
        other.communicate("")
    assert not [*study.folder.glob("before-restore-*")]
    restore(tar, study.folder)


def test_a_full_disk_changes_nothing(
    study: Study, tar: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = state(study)

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(shutil, "copyfileobj", full)
        with pytest.raises(StorageError, match="the disk is full"):
            restore(tar, study.folder)
    assert state(study) == now
    assert not [*study.folder.glob(".backup-*")]


def changed(tar: Path, name: str, data: bytes) -> None:
    """The backup with other bytes under a name, or more members."""
    held: list[tuple[tarfile.TarInfo, bytes]] = []
    with tarfile.open(tar) as archive:
        for member in archive:
            content = archive.extractfile(member)
            assert content is not None
            held.append((member, content.read()))
    with tarfile.open(tar, "w") as archive:
        for member, content in held:
            new = data if member.name == name else content
            member.size = len(new)
            archive.addfile(member, io.BytesIO(new))
        if name not in {member.name for member, _ in held}:
            more = tarfile.TarInfo(name)
            more.size = len(data)
            archive.addfile(more, io.BytesIO(data))


@pytest.mark.parametrize(
    "name", ["record.sqlite-wal", "Record.SQLite-shm", "../x.toml", "/tmp/x.toml", "originals/zz/x",
             "layouts/../x", "a\\b.toml"],
)  # fmt: skip
def test_a_hostile_backup_changes_nothing(study: Study, tar: Path, name: str) -> None:
    changed(tar, name, b"hello")
    now, files = state(study), sorted(study.folder.parent.rglob("*"))
    with pytest.raises(StorageError, match="something strange"):
        restore(tar, study.folder)
    assert (state(study), sorted(study.folder.parent.rglob("*"))) == (now, files)


@pytest.mark.parametrize("kind", ["link", "sparse", "device", "twice"])
def test_odd_members_change_nothing(study: Study, tar: Path, kind: str) -> None:
    with tarfile.open(tar, "a", format=tarfile.PAX_FORMAT) as archive:
        odd = tarfile.TarInfo("record.sqlite" if kind == "twice" else "odd.toml")
        odd.type = {"link": tarfile.LNKTYPE, "device": tarfile.CHRTYPE}.get(kind, tarfile.REGTYPE)
        odd.linkname = "record.sqlite" if kind == "link" else ""
        if kind == "sparse":
            odd.pax_headers = {"GNU.sparse.size": str(1 << 50), "GNU.sparse.map": "0,0",
                               "GNU.sparse.major": "0", "GNU.sparse.minor": "1"}  # fmt: skip
        archive.addfile(odd)
    now = state(study)
    with pytest.raises(StorageError, match="something strange"):
        restore(tar, study.folder)
    assert state(study) == now


def test_a_damaged_backup_changes_nothing(study: Study, tar: Path) -> None:
    now, whole = state(study), tar.read_bytes()
    for size in (0, 100, 512, 5000, len(whole) // 2):
        tar.write_bytes(whole[:size])
        with pytest.raises((StorageError, RecordError), match="damaged"):
            restore(tar, study.folder)
    tar.write_bytes(whole.replace(b"2026-05-20", b"2026-05-21", 1))
    with pytest.raises(RecordError, match="this backup is damaged"):
        restore(tar, study.folder)
    assert state(study) == now


def test_a_backup_cut_before_its_photos_is_told(study: Study, tar: Path, tmp_path: Path) -> None:
    with tarfile.open(tar) as archive:
        start = next(m.offset for m in archive if m.name.startswith("originals/"))
    tar.write_bytes(tar.read_bytes()[:start])
    (line,) = restore(tar, tmp_path / "new").compared.lacks
    assert line.startswith("the original of photo1.png")
    assert restore(tar, study.folder).compared.lacks[0] == "1 photo that came since"
    assert verify(study).problems == ()


def test_a_zip_bomb_is_no_backup(study: Study, tar: Path) -> None:
    import gzip

    tar.write_bytes(gzip.compress(tar.read_bytes()))
    with pytest.raises(StorageError, match="this is no backup"):
        restore(tar, study.folder)


def test_a_backup_of_another_study_is_refused(study: Study, tar: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    shutil.copytree(study.folder, other)
    with closing(sqlite3.connect(other / "record.sqlite")) as raw:
        raw.execute("UPDATE page_instances SET study = 'moths'")
        raw.commit()
    with pytest.raises(UsageError, match="a backup of the study “ponds”, not of “moths”"):
        restore(tar, other)
    with pytest.raises(UsageError, match="no study"):
        restore(tar, tmp_path)


def test_a_study_reached_by_a_link(study: Study, tar: Path, tmp_path: Path) -> None:
    (tmp_path / "by link").symlink_to(study.folder)
    done = restore(tar, tmp_path / "by link")
    assert len(state(study)[2]) == 1
    assert done.aside is not None
    assert done.aside.resolve().parent == study.folder


def test_a_damaged_record_hands_nothing_out(study: Study, post: Post) -> None:
    from sheet_reader.results.facts import facts_of

    post(says())
    with closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        raw.execute("DROP TRIGGER readings_keep_update")
        raw.execute("UPDATE readings SET value = '8' WHERE field = 'sun.snails'")
        raw.commit()
    with Record.open(study) as record, pytest.raises(RecordError, match="nothing is handed out"):
        facts_of(record)


def test_asking_whether_a_record_is_sound_takes_the_same_few_queries(
    study: Study, post: Post
) -> None:
    def queries() -> int:
        count = 0

        def counting(*_: object) -> None:
            nonlocal count
            count += 1

        with Record.open(study) as record:
            event.listen(record.engine, "before_cursor_execute", counting)
            must_be_sound(record)
        return count

    post(says())
    few = queries()
    for _ in range(3):
        post(says({"site": "1010"}))
    assert queries() == few < 60
