"""The demo as it is called: the whole path once, on the photographs of the package."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from sheet_reader.cli import demo
from sheet_reader.cli.common import hint
from sheet_reader.cli.main import cli
from sheet_reader.demo import photographs
from sheet_reader.demo.samples import sample_folder
from sheet_reader.errors import UsageError
from sheet_reader.reading.opening import open_record
from sheet_reader.record.history.states import VisitRow
from sheet_reader.results.facts import facts_of
from sheet_reader.results.status.standing import status_of
from sheet_reader.study.reader import read_study

TODAY = date(2026, 6, 1)


def test_the_photographs_are_few_and_small() -> None:
    files = photographs.folder_files()
    assert len(files) == 2 + 12
    assert sum(map(len, files.values())) < 4_000_000
    assert len({file for file, _ in photographs.truth()}) == 11, "one shows no sheet"


@pytest.mark.slow
def test_the_demo_goes_all_the_way_and_a_second_run_changes_nothing(tmp_path: Path) -> None:
    done = CliRunner().invoke(cli, ["demo", str(tmp_path / "demo")])
    assert done.exit_code == 0, done.output
    assert "12 of 12 sheets found" in done.output
    assert "0 wrong without a question" in done.output
    assert "photo_12.jpg (photo-0012): no sheet of this study" in done.output
    assert "sheet-reader review" in done.output
    rows = (tmp_path / "demo" / "results" / "rows.csv").read_bytes()
    assert rows.count(b"\n") == 13
    study = read_study(tmp_path / "demo")
    assert len(study.sites) == 4
    with open_record(study) as record:
        standing = status_of(study, facts_of(record), TODAY, "")
    states = Counter(day.state for site in standing.sites for day in site.expected)
    assert not states["missed"], "a healthy study"
    again = CliRunner().invoke(cli, ["demo", str(tmp_path / "demo")])
    assert "12 known already" in again.output
    assert (tmp_path / "demo" / "results" / "rows.csv").read_bytes() == rows


def test_what_is_told_of_a_failure_is_about_what_failed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(error: OSError) -> str:
        def failing(*_: object) -> None:
            raise error

        monkeypatch.setattr(demo, "_season", failing)
        return CliRunner().invoke(cli, ["demo", "--season", str(tmp_path / "demo")]).output

    full = fails(OSError(28, "No space left on device", str(tmp_path / "demo" / "sites.csv")))
    assert "sites.csv: the demo can't be written here: No space left" in full
    assert "can't be written" not in fails(BrokenPipeError(32, "Broken pipe")), "a reader that left"


def test_rows_of_twelve_visits_fit_a_terminal() -> None:
    study = read_study(sample_folder("bean_tips"))
    values = {spec.name: "9" * spec.boxes for spec in study.fields}
    visit = VisitRow(study.sites[0].number, "2026-05-20", (1,), ("a",), values, {}, 0)
    lines = demo._rows(study, [visit] * 12)
    assert len([line for line in lines if line.startswith("visit_date")]) == 2
    assert max(len(line) for line in lines) <= 80


def test_a_hint_can_be_typed_in_the_shell_it_is_shown_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = tmp_path / "a b" / "sheet-reader"
    own.parent.mkdir()
    own.touch(mode=0o755)
    monkeypatch.setattr("sys.argv", [str(own)])
    monkeypatch.setenv("PATH", "/nowhere")
    assert hint("review", Path("demo")) == f"'{own}' review demo"
    monkeypatch.chdir(tmp_path)
    assert hint("review", Path("demo")) == "'a b/sheet-reader' review demo"
    monkeypatch.setenv("PATH", str(own.parent))
    assert hint("review", Path("demo")) == "sheet-reader review demo"
    monkeypatch.setattr("sys.argv", ["-c"])
    monkeypatch.setenv("PATH", "/nowhere")
    assert hint("review", Path("demo")) == "sheet-reader review demo"


def test_the_demo_leaves_a_folder_with_other_things_alone(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match="something else"):
        demo._photos(tmp_path, TODAY)
    assert [p.name for p in tmp_path.iterdir()] == ["letters.txt"]
