"""A season to try: ``sheet-reader demo --season``."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

from sheet_reader.cli.common import counted, hint
from sheet_reader.errors import StorageError, UsageError
from sheet_reader.simulate.bean_season import RATIO, WEEKS
from sheet_reader.simulate.season_folder import make_season_folder

SEED = 1
"""The same as that of the demo with photos."""


def run_season(folder: Path, today: date, echo: Callable[[str], object]) -> None:
    """Make the bean study with a season's record in ``folder``, which must be new or empty: six
    weeks of it are over on ``today``.

    Raises UsageError where ``folder`` holds anything, StorageError where it can't be written.
    """
    try:
        if folder.exists() and any(folder.iterdir()):
            raise UsageError(
                "this folder is not empty; a season goes into a new one",
                where=folder, remedy="name a folder that is new or empty",
            )  # fmt: skip
        study, sheets = make_season_folder(folder, today, SEED)
    except OSError as error:
        raise StorageError(
            f"the season can't be written here: {error.strerror or error}",
            where=folder, remedy="name another folder",
        ) from None  # fmt: skip
    season = study.season
    echo(f"Study     {study.title}, an invented count at {len(study.sites)} sites, in {folder}/")
    echo(f"Season    {season.first} to {season.last}; {WEEKS} weeks of it are over")
    echo(f"Record    {counted(sheets, 'sheet')}, made up: no photo was taken or read")
    fewer = round(100 * (1 - RATIO))
    echo(f"Truth     {fewer} % fewer blackfly per minute in the pinched half, at a typical site")
    echo("Now see how much of that the sheets show, and who should be written to:")
    for command in ("status", "letters", "update", "export"):
        echo(f"          {hint(command, folder)}")
