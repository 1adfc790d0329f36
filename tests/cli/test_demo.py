"""The demo as it is called: the whole path once, on the photographs of the package."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from itertools import product
from pathlib import Path

import pytest
from click.testing import CliRunner
from made_rows import waiting

from sheet_reader.cli import demo
from sheet_reader.cli.common import hint
from sheet_reader.cli.main import cli
from sheet_reader.demo import photographs
from sheet_reader.demo.samples import sample_folder
from sheet_reader.errors import UsageError
from sheet_reader.reading.opening import open_record
from sheet_reader.reading.tally import BatchSummary
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
    told = [(t["pinched.minutes"], t["unpinched.minutes"]) for t in photographs.truth().values()]
    assert all(a == b for a, b in told if a and b), "both halves are searched for the same time"


def test_each_site_is_visited_once_a_week() -> None:
    sites = [site.number for site in read_study(sample_folder("bean_tips")).sites[:4]]
    visits = []
    for (_, sheet), fields in photographs.truth().items():
        day = date.fromisoformat(fields["visit_date"] or "")
        visits.append(((day - photographs.FIRST).days // 7, fields.get("site") or sheet))
    assert sorted(visits) == sorted(product(range(3), sites))


@pytest.mark.slow
def test_the_demo_goes_all_the_way_and_a_second_run_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sheet_reader.study.days.today", lambda *_: TODAY)
    done = CliRunner().invoke(cli, ["demo", str(tmp_path / "demo")])
    assert done.exit_code == 0, done.output
    assert "12 of 12 sheets found" in done.output
    assert "0 wrong without a question" in done.output
    assert "photo_12.jpg (photo-0012): no sheet of this study" in done.output
    assert "sheet-reader review" in done.output
    (visited, more) = (s.split() for s in done.output.splitlines() if s.startswith("visit_date"))
    assert len(visited) + len(more) == 2 + 12
    assert "pinched.blackfly" in done.output
    rows = (tmp_path / "demo" / "results" / "rows.csv").read_bytes()
    assert rows.count(b"\n") == 13
    study = read_study(tmp_path / "demo")
    assert len(study.sites) == 4
    with open_record(study) as record:
        standing = status_of(study, facts_of(record), TODAY, "")
    states = Counter(day.state for site in standing.sites for day in site.expected)
    assert sum(states.values()) == 12
    assert not states["missed"] + states["not due"], "a healthy study"
    monkeypatch.setattr("sheet_reader.study.days.today", lambda *_: TODAY + timedelta(days=9))
    again = CliRunner().invoke(cli, ["demo", str(tmp_path / "demo")])
    assert "12 known already" in again.output
    assert (tmp_path / "demo" / "results" / "rows.csv").read_bytes() == rows


@pytest.mark.slow
def test_where_no_photo_is_read_there_is_no_picture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sheet_reader.reading.batch.read_batch", lambda *_, **__: BatchSummary())
    done = CliRunner().invoke(cli, ["demo", str(tmp_path / "demo")])
    assert done.exit_code == 0, done.output
    assert "0 of 12 sheets found" in done.output
    assert "Picture" not in done.output


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


def test_the_score_tells_what_is_right_what_waits_and_what_is_wrong_unasked() -> None:
    written = {("a.jpg", "1"): {"x": "1", "y": "2", "z": "7"}, ("b.jpg", "2"): {"x": "5"}}
    read = {
        "x": waiting(field="x", value="1", status="accepted"),
        "y": replace(waiting(field="y", value="2", status="corrected"), value="3"),
        "z": waiting(field="z", value="7", status="flagged"),
    }
    assert demo._score(written, {("a.jpg", "1"): read}) == [
        "Score     1 of 2 sheets found; of 4 fields 3 read right at once (75.0 %),",
        "          2 wait for you, 1 wrong without a question",
    ]


def test_rows_stand_by_site_and_date_and_tell_what_waits() -> None:
    study = read_study(sample_folder("bean_tips"))
    first, second = (site.number for site in study.sites[:2])
    name = "pinched.plants"
    visits = []
    for site, day, value, status in (
        ("", "2026-05-01", "1", "accepted"), (first, "2026-05-09", "2", "corrected"),
        (first, "2026-05-02", "3", "flagged"), (second, "2026-05-09", None, "empty"),
        (second, "2026-05-16", None, "unreadable"),
    ):  # fmt: skip
        values = {"site": site, "visit_date": day, name: value}
        visits.append(VisitRow(site, day, (1,), ("a",), values, {name: status}, 0))
    lines = {line.split()[0]: line.split()[1:] for line in demo._rows(study, visits) if line}
    assert second < first
    assert lines["site"] == [second, second, first, first, "."]
    assert lines[name] == [".", "?", "?", "2", "1"]


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


def test_the_demo_leaves_its_own_study_alone_once_it_was_changed(tmp_path: Path) -> None:
    demo._study(tmp_path)
    assert demo._study(tmp_path).title == "Bean tips"
    changed = (tmp_path / "study.toml").read_text("utf-8") + "# mine\n"
    (tmp_path / "study.toml").write_text(changed, encoding="utf-8")
    with pytest.raises(UsageError, match="holds a study already"):
        demo._photos(tmp_path, TODAY)
    assert (tmp_path / "study.toml").read_text("utf-8") == changed


def test_the_demo_leaves_a_folder_with_other_things_alone(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match="something else"):
        demo._photos(tmp_path, TODAY)
    assert [p.name for p in tmp_path.iterdir()] == ["letters.txt"]
