"""``sheet-reader print``: the sheets of a study as PDF."""

from __future__ import annotations

from pathlib import Path

import click

from sheet_reader.cli.common import open_study, study_argument
from sheet_reader.sheet.model import BLANK
from sheet_reader.study.model import Study
from sheet_reader.study.roster import on_roster

REMINDER = (
    "Print in black on white paper at 100 % (“actual size”); 90 to 100 % still reads. "
    "Check one sheet before you print them all."
)


@click.command("print", short_help="Make the tally sheets as PDF files.")
@study_argument
@click.option("--site", metavar="N", help="The sheet of this site, its number printed.")
@click.option("--all-sites", is_flag=True, help="The sheets of every site of the roster.")
@click.option("--blank", is_flag=True, help="The sheet without a site (this is the default).")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Where the files go (default: the study's sheets folder).",
)
def print_sheets(
    study: Path, site: str | None, all_sites: bool, blank: bool, out: Path | None
) -> None:
    """Make the tally sheets of STUDY (its folder) as PDF files, ready to print.

    Beside each NAME.pdf lies NAME.geometry.json, which says where every digit box is.

    Example:  sheet-reader print bean_tips --all-sites --out to_print
    """
    from sheet_reader.sheet.files import write_sheet

    if (site is not None) + all_sites + blank > 1:
        raise click.UsageError("choose one of --site, --all-sites and --blank")
    described = open_study(study)
    folder = out if out is not None else described.folder / "sheets"
    for sheet in _sheets(described, site, all_sites):
        path, pages = write_sheet(described, sheet, folder)
        click.echo(f"{path}  ({pages} page{'s' if pages > 1 else ''}, {described.paper})")
    click.echo(REMINDER)


def _sheets(study: Study, site: str | None, all_sites: bool) -> list[str]:
    if all_sites:
        return [entry.number for entry in study.roster]
    if site is None:
        return [BLANK]
    return [on_roster(study, site).number]
