"""``sheet-reader demo``: the whole path once, on made-up photos."""

from __future__ import annotations

from pathlib import Path

import click

from sheet_reader.cli.common import say
from sheet_reader.study import days


@click.command(short_help="Try everything on made-up photos.")
@click.argument(
    "folder", required=False, default="demo", type=click.Path(path_type=Path), metavar="[DIR]"
)
@click.option(
    "--season", is_flag=True, help="Make the record of a season instead: 30 sites, no photos."
)
def demo(folder: Path, season: bool) -> None:
    """Try everything: make a study, print it, photograph it, read it, score it.

    Everything is written into DIR (demo/ if left out), which must be new or empty. The photos are
    simulated, so the truth is known and the score is shown.

    With --season it is a record to try status, letters, update and export on: six weeks of 30
    sites, made up in seconds without photos, with an effect that is told.

    Example:  sheet-reader demo beans_demo
    """
    if season:
        from sheet_reader.cli.season_demo import run_season

        run_season(folder, days.today(), say)
        return
    from sheet_reader.cli.demonstration import run_demo

    run_demo(folder, days.today(), say)
