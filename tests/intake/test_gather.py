from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheet_reader.errors import UsageError
from sheet_reader.intake.files import LONGEST_NAME, NoPicture, file_name, natural_key, one_line
from sheet_reader.intake.gather import SettledFiles, gather


def test_folders_are_walked_in_natural_order(tmp_path: Path) -> None:
    for name in ("scan10.jpg", "scan2.jpg", "Scan1.jpg", ".hidden.jpg", "Thumbs.db", "~$x.jpg"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "week2").mkdir()
    (tmp_path / "week2" / "a.jpg").write_bytes(b"x")
    (tmp_path / ".trash").mkdir()
    (tmp_path / ".trash" / "b.jpg").write_bytes(b"x")
    (tmp_path / "loop").symlink_to(tmp_path)
    found = gather([tmp_path, tmp_path])
    names = [p.relative_to(tmp_path).as_posix() for p in found if isinstance(p, Path)]
    assert names == ["Scan1.jpg", "scan2.jpg", "scan10.jpg", "week2/a.jpg"]


def test_links_to_files_are_followed_and_all_else_that_is_skipped_is_named(tmp_path: Path) -> None:
    inbox, away = tmp_path / "inbox", tmp_path / "away"
    for folder in (inbox, away):
        folder.mkdir()
    (away / "a.jpg").write_bytes(b"x")
    (inbox / "a.jpg").symlink_to(away / "a.jpg")
    (inbox / "again.jpg").symlink_to(inbox / "a.jpg")
    (inbox / "circle").symlink_to(inbox)
    (inbox / "gone.jpg").symlink_to(away / "gone.jpg")
    (inbox / "round.jpg").symlink_to(inbox / "round.jpg")
    os.mkfifo(inbox / "pipe.jpg")
    found = gather([inbox])
    assert [p.name for p in found if isinstance(p, Path)] == ["a.jpg", "again.jpg"]
    skipped = {item.name: item.reason for item in found if isinstance(item, NoPicture)}
    assert "link to a folder" in skipped["circle"]
    assert "leads nowhere" in skipped["gone.jpg"]
    assert "leads nowhere" in skipped["round.jpg"]
    assert "a device or a pipe" in skipped["pipe.jpg"]


def test_a_pipe_named_by_hand_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    (item,) = gather([tmp_path / "pipe.jpg"])
    assert isinstance(item, NoPicture)


def test_mail_still_being_delivered_is_left_alone(tmp_path: Path) -> None:
    for part in ("cur", "new", "tmp"):
        (tmp_path / part).mkdir()
        (tmp_path / part / f"1.{part}:2,S").write_bytes(b"x")
    found = [p for p in gather([tmp_path]) if isinstance(p, Path)]
    assert [p.parent.name for p in found] == ["cur", "new"]


def test_a_path_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such file"):
        gather([tmp_path / "none"])


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("../../etc/scan.jpg", "scan.jpg"),
        ("C:\\Users\\x\\scan.jpg", "scan.jpg"),
        ("a\nb\r\tc.jpg", "a b c.jpg"),
        ("scan of jo@example.org.jpg", "scan of …"),
        ("", "unnamed"),
        ("////", "unnamed"),
        ("\u202egpj.exe", "gpj.exe"),
    ],
)
def test_names_are_safe_to_show(raw: str, shown: str) -> None:
    assert file_name(raw) == shown


@given(st.text(max_size=400))
def test_any_name_becomes_one_short_line(raw: str) -> None:
    shown = file_name(raw)
    assert 0 < len(shown) <= LONGEST_NAME
    assert shown.isprintable()
    assert "/" not in shown
    assert one_line(shown) == shown
    natural_key(raw)


def test_a_name_of_ten_thousand_characters() -> None:
    shown = file_name("a" * 10_000 + ".jpg")
    assert len(shown) == LONGEST_NAME
    assert shown.endswith(".jpg")


def test_a_file_is_told_once_when_it_has_stayed_as_it_is(tmp_path: Path) -> None:
    photo, settled = tmp_path / "a.jpg", SettledFiles(4.0)
    photo.write_bytes(b"half")
    assert settled.among([photo], 0.0) == []
    photo.write_bytes(b"half and more")
    assert settled.among([photo], 3.9) == []  # still being written
    assert settled.among([photo], 7.8) == []
    assert settled.among([photo], 7.9) == [photo]
    assert settled.among([photo], 8.0) == [photo]  # until it is taken
    settled.taken([photo])
    assert settled.among([photo], 20.0) == []


def test_a_change_of_content_or_time_makes_it_new(tmp_path: Path) -> None:
    photo, settled = tmp_path / "a.jpg", SettledFiles(1.0)
    photo.write_bytes(b"one")
    assert [settled.among([photo], now) for now in (0.0, 1.0)] == [[], [photo]]
    settled.taken([photo])
    os.utime(photo, ns=(1, 1))  # a clock set back
    assert [settled.among([photo], now) for now in (2.0, 3.0)] == [[], [photo]]


def test_a_file_that_vanishes_is_forgotten(tmp_path: Path) -> None:
    photo, settled = tmp_path / "a.jpg", SettledFiles(1.0)
    photo.write_bytes(b"one")
    os.utime(photo, ns=(5, 5))
    settled.among([photo], 0.0)
    settled.taken([photo])
    photo.unlink()
    assert settled.among([photo], 5.0) == []
    photo.write_bytes(b"two")
    os.utime(photo, ns=(5, 5))
    assert settled.among([photo], 6.0) == []
    assert settled.among([photo], 7.0) == [photo]
