"""``demo --season``: a record to try everything on, with an effect that the update finds again."""

from __future__ import annotations

import csv
import re
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import sheet_reader
from sheet_reader.cli.demo import SEED
from sheet_reader.cli.main import cli
from sheet_reader.demo.bean_season import RATIO, made_sheets

TODAY = date(2026, 6, 1)


def run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, [str(part) for part in arguments])


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "season"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sheet_reader.study.days.today", lambda *_: TODAY)
        result = run("demo", "--season", folder)
    assert result.exit_code == 0, result.output
    assert "40 % fewer" in result.output
    return folder


@pytest.fixture
def today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sheet_reader.study.days.today", lambda *_: TODAY)


def test_the_record_says_what_was_made_up(season: Path) -> None:
    study = sheet_reader.open_study(season)
    assert len(study.sites) == 30
    made = {
        (sheet.site, sheet.day.isoformat(), *name.split(".")): value
        for sheet in made_sheets(study, SEED)
        if not sheet.unreadable
        for name, value in sheet.values.items()
        if "." in name and name not in sheet.doubtful
    }
    with sheet_reader.open_record(study) as record:
        counts = record.counts()
    days = counts["visit_date"].dt.strftime("%Y-%m-%d")
    keys = zip(counts["site"], days, counts["plot"], counts["count"], strict=True)
    values = counts["value"].astype(object).where(counts["value"].notna(), None)
    read = dict(zip(keys, values, strict=True))
    assert len(made) > 2000
    assert {key: read[key] for key in made} == made


def test_the_planted_effect_lies_in_the_stated_interval(season: Path) -> None:
    study = sheet_reader.open_study(season)
    with sheet_reader.open_record(study) as record:
        found = sheet_reader.compare(record)
    main = found.summary.set_index("method").loc["typical site, all looks"]
    assert 25 <= main["sites"] <= 30  # those with a find
    assert main["lower"] <= RATIO <= main["upper"]
    assert found.left_out["waiting"] > 0


@pytest.mark.usefixtures("today")
def test_status_letters_update_and_export_run_on_it(season: Path, tmp_path: Path) -> None:
    status = run("status", season)
    assert status.exit_code == 0, status.output
    assert re.search(r"waits \(\d\d\)", status.output)
    assert "too blurred" in status.output
    letters = run("letters", season, "--out", tmp_path / "letters")
    assert letters.exit_code == 0, letters.output
    drafts = len(list((tmp_path / "letters").glob("*.eml")))
    assert 10 < drafts < 31
    update = run("update", season, "--out", tmp_path)
    assert update.exit_code == 0, update.output
    page = next(tmp_path.glob("*.html")).read_text("utf-8").replace("\u00a0", " ")
    assert re.search(r"About \d+ % fewer Blackfly colonies per min", page)
    export = run("export", season, "--out", tmp_path, "--format", "csv,excel,darwin-core")
    assert export.exit_code == 0, export.output
    with (tmp_path / "rows.csv").open(encoding="utf-8-sig") as stream:
        assert 140 < len(list(csv.reader(stream))) < 180
    assert run("verify", season).exit_code == 0


def test_a_folder_in_use_is_left_alone(season: Path) -> None:
    before = (season / "study.toml").read_bytes()
    again = run("demo", "--season", season)
    assert again.exit_code == 2
    assert "holds a study already" in again.output
    assert (season / "study.toml").read_bytes() == before


def test_a_place_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", "utf-8")
    result = run("demo", "--season", tmp_path / "file" / "season")
    assert result.exit_code == 3
    assert "season" in result.output
