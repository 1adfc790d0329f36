"""File names may name people: they stay in the record and on the coordinator's own terminal."""

import csv
from pathlib import Path
from typing import Any

PLANTS = "pinched.plants"
NAME = "jane doe garden.png"


def readings(folder: Path) -> list[dict[str, str]]:
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_no_file_name_leaves_with_tables_or_overlays(bean_desk: Any, tmp_path: Path) -> None:
    bean_desk.put(NAME, pinched__plants="3")
    bean_desk.put("jane doe again.png", pinched__plants="8")
    bean_desk.done("read", "--overlay", tmp_path / "drawn")
    bean_desk.done("export", "--out", tmp_path / "tables")
    for path in (*(tmp_path / "drawn").iterdir(), *(tmp_path / "tables").iterdir()):
        assert "jane" not in path.name
        assert b"jane" not in path.read_bytes()
    lines = readings(tmp_path / "tables")
    assert {line["photo"] for line in lines} == {"photo-0001", "photo-0002"}
    (first, second) = [line["reason"] for line in lines if line["field"] == PLANTS]
    assert "photo-0001 reads 8, photo-0002 reads 3" in first + second  # "again" sorts first
    assert sorted(p.name for p in (tmp_path / "drawn").iterdir()) == [
        "photo-0001.jpg",
        "photo-0002.jpg",
    ]


def test_read_names_the_file_and_the_neutral_name(bean_desk: Any, no_sheet: Any) -> None:
    bean_desk.put_bytes(NAME, no_sheet("a corner is outside the picture"))
    assert f"{NAME} (photo-0001): a corner is outside" in bean_desk.done("read")


def test_file_names_are_there_for_her_own_eyes(bean_desk: Any, tmp_path: Path) -> None:
    bean_desk.put(NAME, pinched__plants="3")
    bean_desk.put("later.png", pinched__plants="8")
    bean_desk.done("read")
    bean_desk.done("export", "--file-names", "--out", tmp_path)
    lines = readings(tmp_path)
    assert {line["photo"] for line in lines} == {NAME, "later.png"}
    assert any(f"{NAME} reads 3, later.png reads 8" in line["reason"] for line in lines)


def test_history_bears_the_neutral_name(bean_desk: Any) -> None:
    bean_desk.put(NAME)
    bean_desk.done("read")
    text = bean_desk.done("history", "--site", "2043", "--visit", "2026-05-20")
    assert "photo-0001" in text
    assert "jane" not in text
