"""Photos of sheets that were printed before the study file changed are read like any other."""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from sheet_reader.cli.main import cli
from sheet_reader.demo.samples import copy_sample
from sheet_reader.intake.gather import INBOX
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.opening import open_record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import keep_layout
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import Request, photo_of
from sheet_reader.simulate.values import Visit, random_visit
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study

TODAY = date(2026, 9, 30)
PLANTS = "pinched.plants"
EDITS = {
    "a typo in a label": (("Bean plants", "Bean plamts"),),
    "other paper": (('paper = "A4"', 'paper = "Letter"'),),
    "a count renamed, one gone": (('name = "plants"', 'name = "stems"'),),
}


@pytest.fixture(scope="module")
def photographed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Visit]:
    """A study with one photo of a sheet in its inbox, and what is written on it."""
    folder = tmp_path_factory.mktemp("former") / "beans"
    copy_sample("bean_tips", folder)
    study = read_study(folder)
    day = study.season.first + timedelta(days=28)
    visit = random_visit(study, np.random.default_rng([1, 5]), study.sites[1].number, day)
    photo = photo_of(
        LayoutBook(study), ProceduralHands(), "easy", 61, Request(visit, 1, True), long_side=1700
    )
    (folder / INBOX).mkdir()
    (folder / INBOX / "a.jpg").write_bytes(photo.data)
    keep_layout(study)
    return folder, visit


@pytest.mark.parametrize("edit", EDITS)
def test_a_sheet_printed_before_is_read(
    photographed: tuple[Path, Visit], tmp_path: Path, edit: str
) -> None:
    folder, visit = photographed
    study = edited(folder, tmp_path, *EDITS[edit])
    assert LayoutBook(study).version != LayoutBook(read_study(folder)).version
    summary = read_batch(study, jobs=0, today=TODAY)
    assert summary.pages == 1, summary.lines
    said = CliRunner().invoke(cli, ["names", str(study.folder), "--all-same"])
    assert said.exit_code == 0, said.output
    with open_record(study) as record:
        rows = {row.field: row for row in record.readings()}
        (one,) = record.visits()
    accepted = {name for name, row in rows.items() if row.status == "accepted" and "." in name}
    assert len(accepted) >= 12
    assert all(rows[name].value == visit.values[name] for name in accepted)
    known = {spec.name for spec in study.fields}
    assert {n for n, value in one.values.items() if value and "." in n} == accepted & known
    assert PLANTS in rows


def test_a_sheet_of_a_layout_that_was_not_kept_is_refused_until_it_is(
    photographed: tuple[Path, Visit], tmp_path: Path
) -> None:
    folder, _ = photographed
    study = edited(folder, tmp_path, *EDITS["a typo in a label"])
    (kept,) = (study.folder / "layouts").iterdir()
    text = kept.read_bytes()
    kept.unlink()
    assert read_batch(study, jobs=0, today=TODAY).pages == 0
    kept.write_bytes(text)
    assert read_batch(study, jobs=0, today=TODAY).pages == 1


def edited(folder: Path, target: Path, *changes: tuple[str, str]) -> Study:
    """A copy of the study with its study file changed."""
    shutil.copytree(folder, target / "beans")
    file = target / "beans" / "study.toml"
    text = file.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    file.write_text(text, encoding="utf-8")
    return read_study(target / "beans")
