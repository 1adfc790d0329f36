"""Photos that all fail in one unforeseen way: a fault of the installation, said once."""

from __future__ import annotations

from pathlib import Path

import pytest
import stand_in
from click.testing import CliRunner
from stand_in import says

from sheet_reader.cli.main import cli
from sheet_reader.reading import worker
from sheet_reader.reading.batch import PACKAGES, read_batch
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study


def broken(*_: object) -> list[object]:
    raise TypeError("only length-1 arrays can be converted")


def put(study: Study, *acts: str) -> None:
    for number, act in enumerate(acts):
        path = study.folder / "inbox" / f"p{number}.png"
        path.write_bytes(stand_in.photo(says(act=act), seed=number))


@pytest.mark.parametrize("jobs", [0, 1])
def test_a_reader_that_always_fails_is_said_once_and_the_photos_wait(
    study: Study, jobs: int
) -> None:
    put(study, *[""] * 5)
    summary = read_batch(study, reader=broken, jobs=jobs)
    assert "all 5 photos failed in the same unforeseen way" in summary.fault
    assert "TypeError: only length-1 arrays can be converted" in summary.fault
    assert all(f"{package} " in summary.fault for package in PACKAGES)
    assert summary.lines == ()
    for _ in range(4):  # it takes no attempt from them
        assert read_batch(study, reader=broken, jobs=0).fault
    repaired = read_batch(study, reader=stand_in.read, jobs=0)
    assert (repaired.read, repaired.failed, repaired.fault) == (5, 0, "")


def test_a_reading_process_that_always_breaks_down_is_a_fault_too(study: Study) -> None:
    put(study, "die", "die")
    assert "the reading process broke down" in read_batch(study, reader=stand_in.read).fault


def test_photos_that_fail_among_others_stay_faults_of_these_photos(study: Study) -> None:
    put(study, "raise", "raise", "", "raise")
    done: list[int] = []
    summary = read_batch(
        study, reader=stand_in.read, jobs=0, on_progress=lambda number, *_: done.append(number)
    )
    assert summary.fault == ""
    assert (summary.read, summary.failed, len(summary.lines)) == (1, 3, 3)
    assert done == [1, 2, 3, 4]
    with Record.open(study) as record:
        assert [p.status for p in record.photos()] == ["stopped", "stopped", "read", "stopped"]


def test_photos_that_fail_in_different_ways_are_told_one_by_one(study: Study) -> None:
    put(study, "raise", "die")
    summary = read_batch(study, reader=stand_in.read, jobs=1)
    assert summary.fault == ""
    assert summary.failed == 2


def test_read_says_so_in_one_line_and_exits_with_1(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sample = Path(__file__).parents[2] / "samples" / "bean_tips"
    for name in ("study.toml", "sites.csv"):
        (tmp_path / name).write_bytes((sample / name).read_bytes())
    (tmp_path / "inbox").mkdir()
    for number in range(12):
        data = stand_in.photo(says(), seed=number)
        (tmp_path / "inbox" / f"p{number}.png").write_bytes(data)
    monkeypatch.setattr(worker, "default_reader", lambda: broken)
    monkeypatch.setattr("shutil.which", lambda name: f"/usr/bin/{name}")
    result = CliRunner().invoke(cli, ["read", str(tmp_path), "--jobs", "0"])
    assert result.exit_code == 1
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert "all 12 photos failed in the same unforeseen way" in result.stderr
    assert "install the program anew" in result.stderr
