"""The benchmark and the demo as they are called."""

from __future__ import annotations

import json
from collections import Counter
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from sheet_reader.cli import demonstration
from sheet_reader.cli.common import hint
from sheet_reader.cli.demonstration import run_demo
from sheet_reader.errors import UsageError
from sheet_reader.lab.benchmark import Plan, measure
from sheet_reader.lab.generate import main as generate
from sheet_reader.lab.scoring import Score
from sheet_reader.reading.opening import open_record
from sheet_reader.record.history.states import VisitRow
from sheet_reader.results.from_record import facts_of
from sheet_reader.results.status.standing import status_of
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.cases import Desk, make_case, numbered
from sheet_reader.simulate.no_sheet import KINDS, no_sheet_photo, older_layout
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.truth import PhotoTruth
from sheet_reader.study.reader import read_study

TODAY = date(2026, 6, 1)


def test_pictures_without_a_sheet_of_the_study_say_so(beans, pools, hands) -> None:  # type: ignore[no-untyped-def]
    for kind in KINDS:
        photo = no_sheet_photo(kind, pools, older_layout(beans), hands, "hard", 3)
        assert photo.truth.kind == kind
        assert photo.truth.sheets == ()
        assert photo.upright.std() > 2


def test_every_case_of_a_row_can_be_made_again() -> None:
    desk = Desk.of_samples(ProceduralHands())
    assert numbered("all", 1, 3) == ("rock_pools", 1_000_003)
    first = make_case(desk, *("bean_tips", "hard"), 5)
    assert make_case(desk, "bean_tips", "hard", 5).data == first.data
    bare = make_case(desk, "bean_tips", "hard", 5, bare_share=1.0)
    assert bare.truth.sheets == ()
    two = make_case(desk, "bean_tips", "hard", 6, bare_share=0.0, sheets=2)
    assert len(two.truth.sheets) == 2


def test_generate_writes_pictures_with_their_truth(tmp_path: Path) -> None:
    arguments = [str(tmp_path), "--photos", "2", "--level", "hard", "--hands", "procedural"]
    done = CliRunner().invoke(generate, arguments)
    assert done.exit_code == 0, done.output
    for stem in ("bean_tips_hard_1_0000", "rock_pools_hard_1_0001"):
        assert (tmp_path / f"{stem}.jpg").stat().st_size > 10_000
        data = json.loads((tmp_path / f"{stem}.json").read_text(encoding="utf-8"))
        assert PhotoTruth.from_json(data).level == "hard"


@pytest.mark.slow
def test_typical_photos_are_found_and_their_boxes_placed() -> None:
    total = Score()
    for score in measure(Plan("typical", 8, "all", 21, "vision", 1, None)):
        total.add(score)
    assert total.found == total.sheets >= 7
    assert total.misidentified == total.false_sheets == 0
    assert np.median(total.errors_mm) < 0.10


@pytest.mark.slow
def test_the_demo_goes_all_the_way_and_a_second_run_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With six photos; ``tests/smoke.sh`` runs it with all twelve."""
    monkeypatch.setattr(demonstration, "SITES", 2)
    monkeypatch.setattr(demonstration, "WEEKS", 3)
    lines: list[str] = []
    run_demo(tmp_path / "demo", TODAY, lines.append)
    text = "\n".join(lines)
    assert "6 of 6 sheets found" in text
    assert "sheet-reader review" in text
    table = [line for line in lines if line.startswith(("pinched", "visit_date"))]
    assert table
    assert (tmp_path / "demo" / "results" / "rows.csv").is_file()
    rows = (tmp_path / "demo" / "results" / "rows.csv").read_bytes()
    study = read_study(tmp_path / "demo")
    assert len(study.sites) == 2
    with open_record(study) as record:
        standing = status_of(study, facts_of(record), TODAY, "")
    states = Counter(day.state for site in standing.sites for day in site.expected)
    assert states["missed"] <= 1, "a healthy study in mid-season"
    assert states["not due"] >= 6
    again: list[str] = []
    run_demo(tmp_path / "demo", TODAY + timedelta(days=9), again.append)
    assert "6 known already" in "\n".join(again)
    assert (tmp_path / "demo" / "results" / "rows.csv").read_bytes() == rows


def test_rows_of_twelve_visits_fit_a_terminal(beans: LayoutBook) -> None:
    study = beans.study
    values = {spec.name: "9" * spec.boxes for spec in study.fields}
    visit = VisitRow(study.sites[0].number, "2026-05-20", (1,), ("a",), values, {}, 0)
    lines = demonstration._rows(study, [visit] * 12)
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
        run_demo(tmp_path, TODAY, lambda _line: None)
    assert [p.name for p in tmp_path.iterdir()] == ["letters.txt"]
