"""``sheet-reader print`` as a coordinator calls it."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sheet_reader.cli.print_sheets import print_sheets
from sheet_reader.errors import StorageError, StudyError, UsageError

SAMPLES = Path(__file__).parents[2] / "samples"


def call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(print_sheets, [str(a) for a in arguments])


@pytest.fixture
def study(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SAMPLES / "bean_tips", tmp_path / "bean_tips"))


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_blank_is_the_default_and_lies_in_the_study(study: Path) -> None:
    result = call(study)
    assert result.exit_code == 0
    assert names(study / "sheets") == ["bean-tips-blank.geometry.json", "bean-tips-blank.pdf"]
    lines = result.output.splitlines()
    assert lines[0].endswith("bean-tips-blank.pdf  (1 page, A4)")
    assert "100 %" in lines[-1]
    json.loads((study / "sheets" / "bean-tips-blank.geometry.json").read_text(encoding="utf-8"))


def test_study_file_and_explicit_blank(study: Path, tmp_path: Path) -> None:
    result = call(study / "study.toml", "--blank", "--out", tmp_path / "new" / "folder")
    assert result.exit_code == 0
    assert "bean-tips-blank.pdf" in names(tmp_path / "new" / "folder")


def test_one_site(study: Path, tmp_path: Path) -> None:
    assert call(study, "--site", "0174", "--out", tmp_path / "out").exit_code == 0
    assert names(tmp_path / "out") == ["bean-tips-0174.geometry.json", "bean-tips-0174.pdf"]


def test_all_sites(study: Path, tmp_path: Path) -> None:
    result = call(study, "--all-sites", "--out", tmp_path / "out")
    assert result.exit_code == 0
    assert len(names(tmp_path / "out")) == 24
    assert len(result.output.splitlines()) == 13


def test_printing_again_changes_nothing(study: Path) -> None:
    call(study)
    pdf = study / "sheets" / "bean-tips-blank.pdf"
    before = pdf.read_bytes()
    call(study)
    assert pdf.read_bytes() == before
    assert len(names(study / "sheets")) == 2


@pytest.mark.parametrize("options", [("--blank", "--all-sites"), ("--site", "2043", "--blank")])
def test_options_exclude_one_another(study: Path, options: tuple[str, ...]) -> None:
    result = call(study, *options)
    assert result.exit_code == 2
    assert "choose one of" in result.output
    assert not (study / "sheets").exists()


def test_unknown_site_names_the_nearest(study: Path) -> None:
    error = call(study, "--site", "2042").exception
    assert isinstance(error, UsageError)
    assert "2042" in error.what
    assert error.remedy.startswith("its check digit is wrong; nearest: 2043 Millrace allotments")


def test_study_with_mistakes(study: Path) -> None:
    (study / "study.toml").write_text("key = 1\n", encoding="utf-8")
    error = call(study).exception
    assert isinstance(error, StudyError)
    assert not (study / "sheets").exists()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_folder_without_write_permission(study: Path, tmp_path: Path) -> None:
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    assert isinstance(call(study, "--out", locked).exception, StorageError)


def test_folder_that_cannot_be_written(study: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(**_: object) -> tuple[int, str]:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("sheet_reader.sheet.files.tempfile.mkstemp", refuse)
    error = call(study).exception
    assert isinstance(error, StorageError)
    assert "Permission denied" in error.what
    assert names(study / "sheets") == []


def test_folder_name_taken_by_a_file(study: Path, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("", encoding="utf-8")
    assert isinstance(call(study, "--out", tmp_path / "taken" / "x").exception, StorageError)
