"""A photograph of the proof page among the photos: a result in one line, no refusal."""

from __future__ import annotations

import shutil
from pathlib import Path

import cv2
import numpy as np
from click.testing import CliRunner

from sheet_reader.cli.main import cli
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.pdf import rasterise
from sheet_reader.sheet.proof import render_proof
from sheet_reader.study.reader import read_study

BEANS = Path(__file__).parents[2] / "samples" / "bean_tips"


def run(*words: object) -> str:
    result = CliRunner().invoke(cli, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result.stdout


def test_the_result_is_told_once_and_is_no_refusal(tmp_path: Path) -> None:
    folder = tmp_path / "beans"
    shutil.copytree(BEANS, folder)
    (folder / "inbox").mkdir()
    study = read_study(folder)
    page = rasterise(render_proof(study), 1, 7.0)
    picture = np.pad(page, 120, constant_values=90)
    cv2.imwrite(str(folder / "inbox" / "proof.jpg"), picture)
    told = run("read", folder, "--jobs", 0, "--overlay", tmp_path / "drawn")
    lines = [line for line in told.splitlines() if "print check: " in line]
    assert len(lines) == 1
    assert "proof.jpg" in lines[0]
    assert "print check: fine: printed at 100 %" in lines[0]
    assert "1 new photo, 1 print check (result above)" in told
    assert "not readable" not in told
    again = run("read", folder, "--jobs", 0)
    assert "Nothing new." in again
    assert "print check" not in again
    assert "not read" not in again
    with Record.open(study) as record:
        assert record.readings() == []
        assert [photo.reasons for photo in record.photos()] == [()]
    assert "all sound" in run("verify", folder)
    run("export", folder)
    assert len((folder / "results" / "rows.csv").read_text("utf-8").splitlines()) == 1
