"""A watched folder: what is taken when, and what goes wrong on the way."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from sheet_reader.errors import StorageError
from sheet_reader.reading.watching import WatchIntervals, watch


@dataclass
class Desk:
    """A clock that only ``wait`` moves, and what happens before each look."""

    happenings: dict[float, Callable[[], object]] = field(default_factory=dict)
    until: float = 60.0
    now: float = 0.0
    taken: list[tuple[float, list[str], bool]] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    fails: dict[float, str] = field(default_factory=dict)

    def wait(self, seconds: float) -> None:
        for _ in range(round(seconds)):
            self.now += 1.0
            self.happenings.get(self.now, lambda: None)()
        if self.now >= self.until:
            raise KeyboardInterrupt

    def take(self, files: Sequence[Path], mail: bool) -> None:
        if self.now in self.fails:
            raise StorageError(self.fails[self.now])
        self.taken.append((self.now, [path.name for path in files], mail))

    def watch(self, paths: Sequence[Path], rules: Sequence[Path] = (), **pace: float) -> None:
        with pytest.raises(KeyboardInterrupt):
            watch(
                paths, rules, self.take, self.told.append,
                WatchIntervals(every_s=5.0, quiet_s=4.0, **pace),
                clock=lambda: self.now, wait=self.wait,
            )  # fmt: skip


def test_a_photo_is_taken_once_it_is_whole(tmp_path: Path) -> None:
    photo = tmp_path / "a.jpg"
    desk = Desk({7.0: lambda: photo.write_bytes(b"1"), 12.0: lambda: photo.write_bytes(b"12")})
    desk.watch([tmp_path])
    assert desk.taken == [(20.0, ["a.jpg"], False)]


def test_a_round_that_fails_is_told_once_and_tried_again(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"1")
    desk = Desk(fails={5.0: "the disk is full", 10.0: "the disk is full", 15.0: "it is locked"})
    desk.watch([tmp_path])
    assert desk.told == ["the disk is full", "it is locked"]
    assert desk.taken == [(20.0, ["a.jpg"], False)]


def test_a_folder_that_comes_and_goes(tmp_path: Path) -> None:
    inbox = tmp_path / "inbox"

    def arrives() -> None:
        inbox.mkdir()
        (inbox / "a.jpg").write_bytes(b"1")

    desk = Desk({22.0: arrives})
    desk.watch([inbox])
    assert len(desk.told) == 1
    assert str(inbox) in desk.told[0]
    assert desk.taken == [(30.0, ["a.jpg"], False)]


def test_the_mailbox_is_asked_less_often_and_not_sooner_when_it_fails() -> None:
    desk = Desk(fails={0.0: "the server does not answer"})
    desk.watch([], mail_every_s=20.0)
    assert [now for now, _, mail in desk.taken if mail] == [20.0, 40.0]


def test_a_mailbox_out_of_reach_does_not_keep_photos_waiting(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"1")
    desk = Desk(fails={0.0: "no server", 20.0: "no server", 40.0: "no server"})
    desk.watch([tmp_path], mail_every_s=20.0)
    assert [(now, files) for now, files, _ in desk.taken] == [(5.0, ["a.jpg"])]


def test_a_change_of_the_study_s_files_counts(tmp_path: Path) -> None:
    rules = tmp_path / "study.toml"
    rules.write_text("a")
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    desk = Desk({32.0: lambda: rules.write_text("ab")})
    desk.watch([inbox], [rules])
    assert desk.taken == [(5.0, [], False), (40.0, [], False)]


def test_a_place_out_of_reach_keeps_no_other_waiting(tmp_path: Path) -> None:
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    (inbox / "a.jpg").write_bytes(b"1")
    (inbox / "gone.jpg").symlink_to(tmp_path / "nowhere.jpg")
    desk = Desk()
    desk.watch([tmp_path / "stick", inbox])
    assert [(now, files) for now, files, _ in desk.taken] == [(5.0, ["a.jpg"])]
    assert len(desk.told) == 2
    assert str(tmp_path / "stick") in desk.told[0]
    assert "gone.jpg" in desk.told[1]
