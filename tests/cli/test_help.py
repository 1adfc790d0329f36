"""Every command explains itself, and the README says the same."""

import json
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from sheet_reader import __version__
from sheet_reader.cli.main import COMMANDS, cli
from sheet_reader.demo.samples import sample_folder
from sheet_reader.lab.command_reference import END, START, reference, updated
from sheet_reader.sheet.sheet_files import geometry_text
from sheet_reader.study.reader import read_study

README = Path(__file__).parents[2] / "README.md"
CONTEXT = click.Context(cli, info_name="sheet-reader")


def command(name: str) -> click.Command:
    found = cli.get_command(CONTEXT, name)
    assert found is not None
    return found


def test_the_readme_has_the_present_command_reference() -> None:
    text = README.read_text(encoding="utf-8")
    assert updated(text) == text, "run: python -m sheet_reader.lab.command_reference README.md"


def test_the_reference_names_every_command_and_option() -> None:
    text = reference()
    for name in COMMANDS:
        assert f"### {name}\n" in text
        for parameter in command(name).params:
            if isinstance(parameter, click.Option):
                assert parameter.opts[0] in text


def test_a_readme_without_markers_is_refused() -> None:
    with pytest.raises(ValueError, match="commands:start"):
        updated("nothing here")
    assert updated(f"a\n{START}\nold\n{END}\nb").startswith(f"a\n{START}\n")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example_that_can_be_called(name: str) -> None:
    text = command(name).help or ""
    match = re.search(r"Example: +sheet-reader (.*)", text)
    assert match, f"{name} has no example"
    words = match.group(1).split()
    assert words[0] == name
    found = command(name)
    found.make_context(name, words[1:], parent=CONTEXT)
    result = CliRunner().invoke(cli, [name, "--help"])
    assert result.exit_code == 0
    for parameter in found.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{name} {parameter.opts[0]} has no help"


def test_the_list_shows_every_command_with_a_whole_sentence() -> None:
    text = CliRunner().invoke(cli, ["--help"]).output
    for name in COMMANDS:
        line = next(line for line in text.splitlines() if line.startswith(f"  {name} "))
        assert line.endswith(".")
        assert "..." not in line


def test_version() -> None:
    assert CliRunner().invoke(cli, ["--version"]).output == f"sheet-reader {__version__}\n"


def test_help_loads_none_of_the_heavy_libraries() -> None:
    heavy = ("numpy", "cv2", "scipy", "pandas", "reportlab", "sqlalchemy", "PIL", "rich")
    code = (
        "import sys; from click.testing import CliRunner; from sheet_reader.cli.main import cli;"
        "CliRunner().invoke(cli, ['--help']); CliRunner().invoke(cli, ['read', '--help']);"
        f"print([m for m in {heavy!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_examples_name_sites_of_the_sample() -> None:
    sites = {site.number for site in read_study(sample_folder("bean_tips")).sites}
    text = README.read_text(encoding="utf-8")
    named = re.findall(r"sheet-reader .* bean_tips.*--site (\d+)", text)
    named += re.findall(r'print_sheets\(study, \["(\d+)", "(\d+)"\]', text)[0]
    assert len(named) >= 4
    assert set(named) <= sites


def test_the_readme_says_the_usual_share_of_errors_once() -> None:
    study = read_study(sample_folder("bean_tips"))
    text = README.read_text(encoding="utf-8").replace("\n", " ")
    assert "wrong: 0.002 (0.2 %) unless you say otherwise" in text
    wanted = r"`allowed_error` \(the share of accepted fields that may be wrong, +0.002\)"
    assert re.search(wanted, text)
    assert study.allowed_error == 0.002


def test_the_geometry_in_the_readme_is_that_of_the_sample() -> None:
    text = README.read_text(encoding="utf-8").partition("## The geometry file")[2]
    shown = json.loads(text.partition("```json\n")[2].partition("```")[0])
    printed = json.loads(geometry_text(read_study(sample_folder("bean_tips"))))
    assert shown["page"] == printed["page"]
    for key in ("markers", "cells"):
        assert all(entry in printed[key] for entry in shown[key])
