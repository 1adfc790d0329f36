from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from sheet_reader.atomic import atomic_write, private_folder


def test_files_are_replaced_whole_and_nothing_else_is_left(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    atomic_write({tmp_path / "a": b"new", tmp_path / "b": b""})
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"new", "b": b""}


@pytest.mark.parametrize("fails_at", [1, 2])
def test_a_failing_disk_leaves_the_old_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails_at: int
) -> None:
    (tmp_path / "a").write_bytes(b"old")
    (tmp_path / "b").write_bytes(b"older")
    calls = []

    def failing(handle: int) -> None:
        calls.append(handle)
        if len(calls) == fails_at:
            raise OSError(errno.ENOSPC, "full")

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(OSError, match="full"):
        atomic_write({tmp_path / "a": b"new", tmp_path / "b": b"new"})
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"old", "b": b"older"}


def test_a_folder_that_cannot_be_synced_is_no_failure(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sync = os.fsync

    def no_folders(handle: int) -> None:
        if Path(f"/proc/self/fd/{handle}").is_dir():
            raise OSError(errno.EINVAL, "Invalid argument")
        sync(handle)

    monkeypatch.setattr(os, "fsync", no_folders)
    atomic_write({tmp_path / "a": b"new"})
    assert (tmp_path / "a").read_bytes() == b"new"


def mode(path: Path) -> int:
    return path.stat().st_mode & 0o777


@pytest.mark.skipif(os.name == "nt", reason="needs POSIX permissions")
def test_private_files_are_the_owners_only(tmp_path: Path) -> None:
    atomic_write({tmp_path / "made" / "here" / "a": b"x"})
    assert [mode(p) for p in sorted(tmp_path.rglob("*"))] == [0o700, 0o700, 0o600]


@pytest.mark.skipif(os.name == "nt", reason="needs POSIX permissions")
def test_a_folder_in_a_study_is_tightened_and_others_are_left(tmp_path: Path) -> None:
    study, shared = tmp_path / "study", tmp_path / "shared"
    for folder in (study / "results" / "old", shared):
        folder.mkdir(parents=True)
        folder.chmod(0o755)
    for folder in (study, study / "results"):
        folder.chmod(0o755)
    (study / "study.toml").touch()
    (study / "linked").symlink_to(shared)
    (tmp_path / "way").symlink_to(study)
    for folder in (tmp_path / "way" / "results" / "old", study / "linked", shared, study):
        private_folder(folder)
    assert [mode(p) for p in (study / "results", study / "results" / "old")] == [0o700, 0o700]
    assert [mode(p) for p in (study, shared)] == [0o755, 0o755]
