"""``sheet-reader demo``: the whole path once, on made-up photos."""

from __future__ import annotations

from pathlib import Path

import click

from sheet_reader.cli.common import say


@click.command(short_help="Try everything on made-up photos.")
@click.argument(
    "folder", required=False, default="demo", type=click.Path(path_type=Path), metavar="[DIR]"
)
def demo(folder: Path) -> None:
    """Try everything: make a study, print it, photograph it, read it, score it.

    Everything is written into DIR (demo/ if left out), which must be new or empty. The photos are
    simulated, so the truth is known and the score is shown.

    Example:  sheet-reader demo beans_demo
    """
    from sheet_reader.cli.demonstration import run_demo

    run_demo(folder, say)
