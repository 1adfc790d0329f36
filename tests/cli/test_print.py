"""Printing through the command line."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sheet_reader.cli.main import cli

BEANS = Path(__file__).parents[2] / "samples" / "bean_tips"


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, ["print", str(BEANS), *(str(word) for word in words)])


def test_a_sheet_and_its_geometry_lie_side_by_side(tmp_path: Path) -> None:
    result = run("--site", "2043", "--out", tmp_path)
    assert result.exit_code == 0, result.output
    pdf, geometry = tmp_path / "bean-tips-2043.pdf", tmp_path / "bean-tips-2043.geometry.json"
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert json.loads(geometry.read_text(encoding="utf-8"))["page"]["width_mm"] == 210
    assert str(pdf) in result.stdout


def test_a_site_off_the_roster_names_the_nearest(tmp_path: Path) -> None:
    result = run("--site", "2034", "--out", tmp_path)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert "2043" in result.stderr
    assert not list(tmp_path.iterdir())


def test_only_one_kind_of_sheet_at_a_time(tmp_path: Path) -> None:
    result = run("--blank", "--all-sites", "--out", tmp_path)
    assert result.exit_code == 2
    assert "choose one" in result.stderr


@pytest.mark.parametrize("place", ["blocked", "blocked/deeper"])
def test_a_place_that_is_no_folder(tmp_path: Path, place: str) -> None:
    (tmp_path / "blocked").write_text("a file")
    result = run("--blank", "--out", tmp_path / place)
    assert result.exit_code in (2, 3)
    assert "Traceback" not in result.output
    assert result.stderr.strip()
