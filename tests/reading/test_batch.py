from __future__ import annotations

from collections.abc import Callable
from datetime import date
from multiprocessing import connection
from pathlib import Path
from typing import Any

import pytest
import stand_in
from stand_in import says

from sheet_reader.errors import UsageError
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading import batch, worker
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.reasons import Code, because
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study
from sheet_reader.vision.findings import NoSheet

Post = Callable[..., BatchSummary]


def test_reading_the_same_photo_twice_changes_nothing(study: Study, post: Post) -> None:
    post(says())
    with Record.open(study) as record:
        before = (record.readings(), record.visits(), record.photos())
    (study.folder / "inbox" / "copy.png").write_bytes(
        (study.folder / "inbox" / "photo1.png").read_bytes()
    )
    summary = read_batch(study, reader=stand_in.read, jobs=0)
    assert (summary.arrived, summary.known, summary.read) == (0, 2, 0)
    with Record.open(study) as record:
        assert (record.readings(), record.visits(), record.photos()) == before


def test_bad_files_get_one_line_each_and_the_batch_goes_on(study: Study, post: Post) -> None:
    inbox = study.folder / "inbox"
    good = stand_in.photo(says())
    (inbox / "a_empty.jpg").write_bytes(b"")
    (inbox / "b_notes.txt").write_text("hello")
    (inbox / "c_cut.png").write_bytes(good[: len(good) // 2])
    (inbox / "d_none.png").write_bytes(stand_in.photo("a corner is outside the picture"))
    (inbox / "e_odd.png").write_bytes(stand_in.photo(says(act="raise")))
    summary = post(says(), "f_good.png")
    assert (summary.read, summary.failed) == (1, 5)
    assert [line.partition(":")[0] for line in summary.lines] == [
        "a_empty.jpg",
        "b_notes.txt",
        "c_cut.png (photo-0001)",
        "d_none.png (photo-0002)",
        "e_odd.png (photo-0003)",
    ]
    assert "0 bytes" in summary.lines[0]
    assert "cut off" in summary.lines[2]
    assert "a corner is outside the picture" in summary.lines[3]
    with Record.open(study) as record:
        statuses = {p.name: p.status for p in record.photos()}
    assert statuses == {
        "c_cut.png": "failed",
        "d_none.png": "no sheet",
        "e_odd.png": "stopped",
        "f_good.png": "read",
    }


class Clock:
    """A clock that stands still, except while ``mark`` says that a photo hangs."""

    def __init__(self, mark: Path) -> None:
        self.mark = mark
        self.now = 0.0

    def monotonic(self) -> float:
        if self.mark.exists():
            self.now += 10_000.0
        return self.now


def test_a_worker_that_hangs_or_dies_is_replaced(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox, mark = study.folder / "inbox", study.folder / "hangs"
    for number, act in enumerate(["", "hang", "", "die", ""]):
        said = says({"site": "1010"}, act=act, mark=str(mark))
        (inbox / f"p{number}.png").write_bytes(stand_in.photo(said, seed=number))
    monkeypatch.setattr(worker, "time", Clock(mark))
    monkeypatch.setattr(worker, "wait", lambda pipes, **_: connection.wait(pipes, 0.05))
    done: list[tuple[int, int, str]] = []

    def on_progress(*told: Any) -> None:
        mark.unlink(missing_ok=True)
        done.append(told)

    summary = read_batch(
        study,
        reader=stand_in.read,
        jobs=1,
        seconds_per_picture=2_000.0,
        on_progress=on_progress,
    )
    assert (summary.read, summary.failed) == (3, 2)
    assert summary.lines[0] == (
        "p1.png (photo-0002): reading this photo took longer than 2000 seconds and was stopped"
    )
    assert summary.lines[1] == "p3.png (photo-0004): the reader broke down over this photo"
    assert done[-1] == (5, 5, "p4.png")


def test_stopped_photos_are_tried_again_but_not_for_ever(study: Study) -> None:
    (study.folder / "inbox" / "p.png").write_bytes(stand_in.photo(says(act="raise")))
    tries = [read_batch(study, reader=stand_in.read, jobs=0).failed for _ in range(5)]
    assert tries == [1, 1, 1, 0, 0]


def test_waiting_photos_are_finished_without_their_files(study: Study) -> None:
    class StopError(Exception):
        pass

    def stop(*_: object) -> None:
        raise StopError

    for number in range(3):
        path = study.folder / "inbox" / f"p{number}.png"
        path.write_bytes(stand_in.photo(says(), seed=number))
    with pytest.raises(StopError):
        read_batch(study, reader=stand_in.read, jobs=0, on_progress=stop)
    for path in (study.folder / "inbox").iterdir():
        path.unlink()
    summary = read_batch(study, reader=stand_in.read, jobs=0)
    assert summary.read == 2
    with Record.open(study) as record:
        assert record.summary().photos == {"read": 3}


def test_no_inbox_is_no_error(study: Study) -> None:
    (study.folder / "inbox").rmdir()
    assert read_batch(study, reader=stand_in.read, jobs=0).arrived == 0


def test_a_missing_file_is_told(study: Study, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such file"):
        read_batch(study, [tmp_path / "none.jpg"], reader=stand_in.read, jobs=0)


def test_photos_without_sheet_are_read_again_by_another_model_only(
    study: Study, post: Post, monkeypatch: pytest.MonkeyPatch
) -> None:
    post("no markers were found")
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 0
    monkeypatch.setattr(batch, "model_version", lambda: "a better one")
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 1
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 0


def test_a_stopped_photo_is_tried_again_by_another_version_of_the_program(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    (study.folder / "inbox" / "p.png").write_bytes(stand_in.photo(says(act="raise")))
    for _ in range(4):
        read_batch(study, reader=stand_in.read, jobs=0)
    monkeypatch.setattr("sheet_reader.record.store.claims.__version__", "0.next")
    monkeypatch.setattr("sheet_reader.record.history.found.__version__", "0.next")
    monkeypatch.setattr(stand_in, "misbehave", lambda *_: None)
    assert read_batch(study, reader=stand_in.read, jobs=0).read == 1


def test_a_refused_sheet_is_added_and_the_others_in_its_photo_stay_as_they_were(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The refused one lies between two others on blank sheets, which have the same code."""
    sheets = [says({"site": site}) for site in ("1004", "1010", "1022")]
    allowed = {"1004", "1022"}
    refused = NoSheet(because(Code.UNKNOWN_SITE, site="1010"))

    def reader(
        picture: OpenedPicture, of: Study, book: object, today: date, /, **_: object
    ) -> list[Any]:
        found = stand_in.read(picture, of, book, today)
        return [item if item[1].site in allowed else refused for item in found]

    (study.folder / "inbox" / "p.png").write_bytes(stand_in.photo(sheets))
    read_batch(study, reader=reader, jobs=0)
    with Record.open(study) as record:
        before = {row.reading_id: row for row in record.readings()}
        assert {row.site for row in before.values()} == {"1004", "1022"}
    allowed = {"1010"}  # as if the two others were now off the list
    monkeypatch.setattr(batch, "circumstances", lambda _study: "other")
    summary = read_batch(study, reader=reader, jobs=0)
    assert (summary.arrived, summary.known, summary.read) == (0, 1, 1)
    with Record.open(study) as record:
        after = {row.reading_id: row for row in record.readings()}
        assert {row.site for row in after.values()} == {"1004", "1010", "1022"}
        assert before.items() <= after.items()


@pytest.mark.parametrize(("photos", "expected"), [(1, 1), (4, 1), (5, 2), (400, 3)])
def test_a_further_process_must_be_worth_its_start(
    monkeypatch: pytest.MonkeyPatch, photos: int, expected: int
) -> None:
    monkeypatch.setattr(batch, "usual_jobs", lambda _bytes: 3)
    assert batch.workers_for(None, photos) == expected
    assert batch.workers_for(2, photos) == min(2, photos)
