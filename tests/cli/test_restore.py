"""The way back from a backup in the terminal."""

from __future__ import annotations

import shutil
import stat
from pathlib import Path
from typing import Any

import pytest


@pytest.mark.usefixtures("one_read")
def test_a_backup_is_put_back_after_it_is_asked(bean_desk: Any) -> None:
    tar = bean_desk.folder.parent / "beans.tar"
    bean_desk.done("backup", tar)
    bean_desk.put("b.png", visit_date="2026-05-27")
    bean_desk.done("read")
    stopped = bean_desk.run("restore", tar, typed="n\n")
    assert stopped.exit_code == 1
    assert "It lacks: 1 photo that came since" in stopped.stdout
    assert "2 photos" in bean_desk.done("verify")
    text = bean_desk.done("restore", tar, "--yes")
    (aside,) = bean_desk.folder.glob("before-restore-*")
    assert f"The record as it was: {aside}" in text
    assert "1 photo," in bean_desk.done("verify")
    for path in (aside, *aside.rglob("*")):
        assert not stat.S_IMODE(path.stat().st_mode) & 0o077
    (line,) = [line for line in text.splitlines() if line.startswith("Next:  sheet-reader read")]
    bean_desk.done("read", line.split()[-1])
    assert "2 photos" in bean_desk.done("verify")


@pytest.mark.parametrize("command", ["export", "update", "letters"])
def test_nothing_is_handed_out_of_a_damaged_record(bean_desk: Any, command: str) -> None:
    import sqlite3
    from contextlib import closing

    bean_desk.put("a.png")
    bean_desk.done("read")
    with closing(sqlite3.connect(bean_desk.folder / "record.sqlite")) as raw:
        raw.execute("UPDATE photos SET received_at = '2026-01-01T00:00:00+00:00'")
        raw.commit()
    files = sorted(bean_desk.folder.rglob("*"))
    result = bean_desk.run(command)
    assert result.exit_code == 4
    assert "nothing is handed out" in result.stderr
    assert result.stderr.count("\n") == 1
    made = set(bean_desk.folder.rglob("*")) - {*files, bean_desk.folder / "layouts"}
    assert {p.parent.name for p in made} <= {"layouts"}
    assert "fault: a.png" in bean_desk.run("verify").stdout


@pytest.mark.usefixtures("one_read")
def test_into_a_new_folder(bean_desk: Any, tmp_path: Path) -> None:
    tar = tmp_path / "100% of it?.tar"
    bean_desk.done("backup", tar)
    shutil.rmtree(bean_desk.folder)
    assert "Put back" in bean_desk.done("restore", tar)
    assert "all sound" in bean_desk.done("verify")
