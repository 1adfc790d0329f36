"""A study in a folder that may not be written: it can be looked at, and stays as it is."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

NOBODY = 65534
pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs POSIX permissions")


@contextlib.contextmanager
def as_nobody() -> Iterator[None]:
    """Root may write anywhere: be someone else for a while."""
    if os.geteuid() != 0:
        yield
        return
    os.setegid(NOBODY)
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)


def lock(folder: Path) -> None:
    for path in [*folder.rglob("*"), folder]:
        if os.geteuid() == 0:
            os.chown(path, NOBODY, NOBODY)
        path.chmod(0o500 if path.is_dir() else 0o400)


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def place() -> Iterator[Path]:
    """A folder that everybody may enter, and one in it that nobody owns."""
    with tempfile.TemporaryDirectory() as made:
        Path(made).chmod(0o755)
        (Path(made) / "elsewhere").mkdir()
        (Path(made) / "elsewhere").chmod(0o777)
        yield Path(made)
        for path in [Path(made), *Path(made).rglob("*")]:
            if path.is_dir():
                path.chmod(0o700)


def fill(desk: Any) -> None:
    desk.put("a.png", flagged={"pinched.plants": ("14", 0.6, "unclear")})
    desk.done("read")
    desk.done("review", "--as", "Kim", typed="14\n\n")


@pytest.fixture(scope="module", autouse=True)
def commands_loaded(make_desk: Any, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Commands load modules when they run, and nobody may not read where root's Python lies."""
    with pytest.MonkeyPatch.context() as patch:
        desk = make_desk(tmp_path_factory.mktemp("loaded"), patch)
        fill(desk)
        for command in ("status", "export", "audit", "history", "verify"):
            desk.run(command, typed="s\n")
        desk.done("backup", desk.folder / "b.tar")


@pytest.fixture
def locked(bean_desk: Any, place: Path, filled: Any) -> Any:
    """A study with a decision in it, not to be written."""
    return move(filled(bean_desk, fill), place)


def move(desk: Any, place: Path) -> Any:
    shutil.copytree(desk.folder, place / "beans")
    lock(place / "beans")
    desk.folder = place / "beans"
    return desk


def look(desk: Any, place: Path) -> str:
    """All three ways to look at a study; gives the rows."""
    before = contents(desk.folder)
    with as_nobody():
        told = desk.done("history", "--site", "2043", "--visit", "2026-05-20")
        desk.done("export", "--out", place / "elsewhere" / "results")
        checked = desk.done("verify")
    assert "pinched.plants" in told
    assert "by Kim" in told
    assert "all sound" in checked
    assert contents(desk.folder) == before
    return (place / "elsewhere" / "results" / "rows.csv").read_text(encoding="utf-8")


def test_a_locked_study_can_be_looked_at(locked: Any, place: Path) -> None:
    assert "2043" in look(locked, place)


def test_what_a_killed_program_left_in_the_log_is_seen(bean_desk: Any, place: Path) -> None:
    """The last answer stands in the write-ahead log only."""
    bean_desk.put("a.png", flagged={"pinched.plants": ("14", 0.6, "unclear")})
    bean_desk.done("read")
    file = bean_desk.folder / "record.sqlite"
    with contextlib.closing(sqlite3.connect(file)) as other:
        other.execute("SELECT count(*) FROM photos").fetchone()
        bean_desk.done("review", "--as", "Kim", typed="14\n\n")
        assert file.with_name("record.sqlite-wal").stat().st_size > 0
        move(bean_desk, place)
    (place / "beans").chmod(0o700)
    (place / "beans" / "record.sqlite-shm").unlink()
    (place / "beans").chmod(0o500)
    look(bean_desk, place)


def test_a_backup_of_a_locked_study_goes_elsewhere(locked: Any, place: Path) -> None:
    before = contents(locked.folder)
    with as_nobody():
        assert "1 photo" in locked.done("backup", place / "elsewhere" / "b.tar")
    assert contents(locked.folder) == before


@pytest.mark.parametrize(
    ("command", "more"),
    [
        ("read", []),
        ("review", ["--as", "Kim"]),
        ("audit", ["--as", "Kim"]),
        ("erase", ["--contact", "Kim Roe", "--yes"]),
        ("export", []),
    ],
)
def test_what_must_write_says_so(locked: Any, command: str, more: list[str]) -> None:
    before = contents(locked.folder)
    with as_nobody():
        result = locked.run(command, *more, typed="s\n")
    assert result.exit_code == 3, result.output
    (line,) = result.stderr.splitlines()[-1:]
    assert line.startswith("sheet-reader: ")
    assert "written" in line or "write" in line
    assert str(locked.folder) in line
    assert contents(locked.folder) == before
