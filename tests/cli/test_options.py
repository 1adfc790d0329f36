"""No option is lost in silence: given twice, or together with one it does not go with."""

from __future__ import annotations

import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from sheet_reader.cli.main import COMMANDS, cli
from sheet_reader.demo.samples import copy_sample

CONTEXT = click.Context(cli, info_name="sheet-reader")


def options_of(name: str) -> list[click.Option]:
    command = cli.get_command(CONTEXT, name)
    assert command is not None
    return [found for found in command.params if isinstance(found, click.Option)]


SINGLE = [
    (name, option.opts[0], option.nargs)
    for name in COMMANDS
    for option in options_of(name)
    if not option.multiple and not option.is_flag
]


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words])


@pytest.mark.parametrize(("name", "option", "values"), SINGLE)
def test_an_option_for_one_value_is_not_taken_twice(name: str, option: str, values: int) -> None:
    once = [option, *["1"] * values]
    twice = [option, *["2"] * values]
    result = run(name, "nowhere", *once, *twice)
    assert result.exit_code == 2
    assert f"{option} was given more than once" in result.stderr


SILENT = """\
print STUDY --separate
print STUDY --proof --weeks
print STUDY --proof --separate
print STUDY --proof --blank
print STUDY --site 0174 --all-sites
review STUDY --port 2000
review STUDY --browser --pictures plain
photos STUDY PHOTO --open --csv
correct STUDY --site 0174 --visit 2026-05-20 --unusual
correct STUDY --site 0174 --visit 2026-05-20 --remark x --reason y
correct STUDY PHOTO --site 0174 --visit 2026-05-20
correct STUDY --site 0174 --visit 2026-05-20 --sheet 1
enter STUDY --unusual
enter STUDY --beside
export STUDY --format excel --file-names
letters STUDY --templates --again
letters STUDY --templates --out x
letters STUDY --templates --answers STUDY
letters STUDY --answers STUDY --again
letters STUDY --answers STUDY --out x
read STUDY --watch --again
read STUDY --scheduler-tls a b c
read STUDY --scheduler tcp://x:1 --jobs 2
sites STUDY --add 2 --name 0174=Kiln
"""
"""Every pair of options of a command of which one would not count."""


@pytest.mark.parametrize("line", SILENT.splitlines())
def test_what_would_not_count_is_refused(line: str, tmp_path: Path) -> None:
    copy_sample("bean_tips", tmp_path / "beans")
    before = sorted(tmp_path.rglob("*"))
    words = shlex.split(line.replace("STUDY", str(tmp_path / "beans")))
    result = run(*words)
    assert result.exit_code == 2, result.output
    assert "--" in result.stderr.splitlines()[-1], "it names the option"
    assert sorted(tmp_path.rglob("*")) == before
