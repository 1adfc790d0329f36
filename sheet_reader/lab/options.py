"""What the measuring programs are told on the command line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import click

from sheet_reader.lab.sets import find_data
from sheet_reader.simulate.troubles import TROUBLES

_Command = TypeVar("_Command", bound=Callable[..., object])

jobs_option = click.option(
    "--jobs", type=click.IntRange(1), default=1, help="Processes side by side."
)
data_option = click.option(
    "--data",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Data folder with digits/ (else SHEET_READER_DATA, else shared/data).",
)



def _in_a_folder(
    _context: click.Context, _option: click.Parameter, file: Path | None
) -> Path | None:
    """The file, in a folder that is there: told before the work, not after it."""
    if file is not None and not file.parent.is_dir():
        raise click.BadParameter(f"there is no folder {file.parent}; make it first")
    return file


json_option = click.option(
    "--json",
    "json_file",
    type=click.Path(path_type=Path, dir_okay=False),
    callback=_in_a_folder,
    help="Write figures here.",
)

own_digits_option = click.option(
    "--own-digits", is_flag=True, help="Sheets ask for the volunteer's own ten digits."
)


def troubles_option(default: str) -> Callable[[_Command], _Command]:
    """``--troubles``: the set of rates by which sheets suffer."""
    return click.option(
        "--troubles", type=click.Choice([*TROUBLES]), default=default, show_default=True,
        help="How often pencil is pale, the page behind shows, paper is folded, a tally spills, "
        "a 1 has a roof, a sum is wrong.",
    )  # fmt: skip


def fitting_options(photos: int, out: Path) -> Callable[[_Command], _Command]:
    """``--photos``, ``--jobs``, ``--out`` and ``--data`` of a program that fits a data file."""

    def decorate(command: _Command) -> _Command:
        for option in (
            data_option,
            click.option("--out", type=click.Path(path_type=Path), default=out,
                         help="The file to write."),
            jobs_option,
            click.option("--photos", type=click.IntRange(10), default=photos, show_default=True),
        ):  # fmt: skip
            command = option(command)
        return command

    return decorate


def needed_data(option: Path | None) -> Path:
    """The folder of handwriting; a ClickException that says what to do where there is none."""
    place = find_data(option)
    if place is None:
        raise click.ClickException("no data folder with handwriting found; see --data")
    return place
