"""Commands on a study whose record is gone while its photos are there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest


@pytest.mark.parametrize("how", ["gone", "empty"])
@pytest.mark.usefixtures("one_read")
def test_no_command_starts_a_fresh_record_unasked(bean_desk: Any, tmp_path: Path, how: str) -> None:
    bean_desk.done("export")
    bean_desk.done("backup", tmp_path / "b.tar")
    rows = bean_desk.folder / "results" / "rows.csv"
    before = (rows.read_bytes(), (tmp_path / "b.tar").read_bytes())
    for path in bean_desk.folder.glob("record.sqlite*"):
        path.unlink()
    if how == "empty":
        (bean_desk.folder / "record.sqlite").touch()
    for command, *more in (
        ("export",),
        ("verify",),
        ("backup", tmp_path / "b.tar"),
        ("read",),
        ("review",),
        ("audit",),
        ("history", "--site", "2043", "--visit", "2026-05-20"),
        ("erase", "--contact", "Kim Roe", "--yes"),
    ):
        result = bean_desk.run(command, *more)
        assert result.exit_code == 4, (command, result.output)
        lines = result.stderr.splitlines()
        assert len([line for line in lines if line.startswith("sheet-reader:")]) == 1
        assert "record.sqlite" in lines[-1]
        assert "backup" in lines[-1]
        assert "sound" not in result.stdout
    assert (rows.read_bytes(), (tmp_path / "b.tar").read_bytes()) == before


@pytest.mark.usefixtures("one_read")
def test_a_backup_without_a_photo_ends_with_a_fault(bean_desk: Any, tmp_path: Path) -> None:
    for path in (bean_desk.folder / "originals").glob("*/*"):
        path.unlink()
    result = bean_desk.run("backup", tmp_path / "b.tar")
    assert result.exit_code == 4
    assert "fault: a.png" in result.stdout
    assert "not complete" in result.stdout


def test_a_record_elsewhere_is_named_and_no_photo_is_moved(
    bean_desk: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "elsewhere.sqlite").touch()
    monkeypatch.setenv("SHEET_READER_RECORD", f"sqlite:///{tmp_path / 'elsewhere.sqlite'}")
    bean_desk.put("a.png")
    bean_desk.done("read")
    bean_desk.done("backup", tmp_path / "b.tar")
    monkeypatch.delenv("SHEET_READER_RECORD")
    for command, *more in (
        ("status",), ("read",), ("review",), ("export",), ("verify",), ("letters",), ("audit",),
        ("backup", tmp_path / "b.tar"), ("erase", "--contact", "Kim Roe", "--yes"),
        ("history", "--site", "2043", "--visit", "2026-05-20"), ("sites", "--add", "1"),
    ):  # fmt: skip
        result = bean_desk.run(command, *more)
        assert result.exit_code == 2, (command, result.output)
        (line,) = [x for x in result.stderr.splitlines() if x.startswith("sheet-reader:")]
        assert "SHEET_READER_RECORD is not set" in line
        assert "elsewhere.sqlite" in line
        assert "inbox" not in line
    assert not (bean_desk.folder / "record.sqlite").exists()
