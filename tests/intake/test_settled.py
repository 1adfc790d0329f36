"""When a file that arrives counts as whole."""

from __future__ import annotations

import os
from pathlib import Path

from sheet_reader.intake.settled import Settled


def test_a_file_is_told_once_when_it_has_stayed_as_it_is(tmp_path: Path) -> None:
    photo, settled = tmp_path / "a.jpg", Settled(4.0)
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
    photo, settled = tmp_path / "a.jpg", Settled(1.0)
    photo.write_bytes(b"one")
    assert [settled.among([photo], now) for now in (0.0, 1.0)] == [[], [photo]]
    settled.taken([photo])
    os.utime(photo, ns=(1, 1))  # a clock set back
    assert [settled.among([photo], now) for now in (2.0, 3.0)] == [[], [photo]]


def test_a_file_that_vanishes_is_forgotten(tmp_path: Path) -> None:
    photo, settled = tmp_path / "a.jpg", Settled(1.0)
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
