"""``sheet-reader print``: the sheets of a study as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from sheet_reader.cli.common import counted, hint, open_study, refuse, say, study_argument
from sheet_reader.errors import UsageError
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.site_list import on_list
from sheet_reader.study.study import Study

REMINDER = (
    "Print in black on white paper at 100 % (“actual size”); 90 to 100 % still reads. "
    "Check one sheet before you print them all."
)
PROOF_ADVICE = (
    "Print it as you will print the sheets. Both scales must be 90 to 100 mm long and equally so, "
    "and every line, dot and word be seen. Or photograph it on a darker table and read the photo: "
    "one line says whether scale, contrast and markers are fine."
)


@click.command("print", short_help="Make the tally sheets as PDF files.")
@study_argument
@click.option(
    "--site", "sites", multiple=True, metavar="N",
    help="The sheet of this site, its number printed. May be given several times.",
)
@click.option("--all-sites", is_flag=True, help="The sheets of every site, in one PDF.")
@click.option("--blank", is_flag=True, help="The sheet without a site (this is the default).")
@click.option("--proof", is_flag=True, help="A page to see whether printer and paper will do.")
@click.option(
    "--separate", is_flag=True, help="With --all-sites or several --site: a PDF for each site."
)
@click.option(
    "--copies", type=click.IntRange(1, 500), default=1, metavar="N", show_default=True,
    help="How many of each sheet, one after the other.",
)
@click.option(
    "--weeks", is_flag=True,
    help="A sheet for every visit of the season; the visit stands in a corner as a reminder.",
)
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), metavar="DIR",
    help="Where the files go (default: the study's sheets folder).",
)  # fmt: skip
def print_sheets(
    study: Path, sites: tuple[str, ...], all_sites: bool, blank: bool, proof: bool, separate: bool,
    copies: int, weeks: bool, out: Path | None,
) -> None:
    """Make the tally sheets of STUDY (its folder) as PDF files, ready to print.

    Beside each NAME.pdf lies NAME.geometry.json, which says where every digit box is.

    Example:  sheet-reader print bean_tips --all-sites --copies 4 --out to_print
    """
    from sheet_reader.sheet.kept_layouts import keep_labels, keep_layout
    from sheet_reader.sheet.sheet_files import write_proof

    refuse(
        (
            bool(sites) + all_sites + blank + proof > 1,
            "choose one of --site, --all-sites, --blank and --proof",
        ),
        (separate and not (sites or all_sites), "--separate goes with --all-sites or --site"),
        (proof and weeks, "--proof is of no visit: leave out --weeks"),
    )
    described = open_study(study)
    folder = out if out is not None else described.folder / "sheets"
    if proof:
        path = write_proof(described, folder, copies)
        click.echo(f"{path}  ({counted(copies, 'page')}, {described.paper})")
        click.echo(PROOF_ADVICE)
        return
    sheets = _sheets(described, sites, all_sites)
    piles = [[sheet] for sheet in sheets] if separate else [sheets]
    news = _new_layout(described, folder)
    keep_layout(described)
    keep_labels(described, sheets)
    _write(described, piles, folder, copies, weeks)
    if news:
        click.echo(news)
    nameless = [sheet for sheet in sheets if (site := described.site(sheet)) and not site.label]
    if nameless:
        listed = ", ".join(nameless[:3]) + (", …" if len(nameless) > 3 else "")
        say(
            f"note: {counted(len(nameless), 'site')} printed without a name ({listed}); "
            f"to name them: {hint('sites', described.folder)} --labels FILE"
        )
    click.echo(REMINDER)


def _write(
    study: Study, piles: Sequence[Sequence[str]], folder: Path, copies: int, weeks: bool
) -> None:
    """Write a PDF for each pile of sheets."""
    from sheet_reader.sheet.pdf import PlannedVisit
    from sheet_reader.sheet.sheet_files import write_sheet, write_stack
    from sheet_reader.study.days import expected_days

    days = expected_days(study) if weeks else ()
    visits = [PlannedVisit(number, day) for number, day in enumerate(days, 1)]
    for pile in piles:
        if len(pile) == 1 and copies == 1 and not visits:
            path, pages = write_sheet(study, pile[0], folder)
        else:
            path, pages = write_stack(study, pile, folder, copies, visits)
        click.echo(f"{path}  ({counted(pages, 'page')}, {study.paper})")


def _new_layout(study: Study, folder: Path) -> str:
    """A line for her where sheets in the folder were printed with another layout, else ""."""
    from sheet_reader.sheet.kept_layouts import whole_book
    from sheet_reader.sheet.sheet_files import printed_before

    before, book = printed_before(study, folder), whole_book(study)
    if before is None or before[0] == book.version:
        return ""
    day = f"{before[1].day} {before[1]:%B %Y}"
    line = f"This is a new layout ({book.version}; on {day} it was {before[0]}): "
    if before[0] in book.versions:
        return line + "sheets printed before stay readable."
    return line + "sheets printed before can't be read: no study file of that layout is kept."


def _sheets(study: Study, sites: Sequence[str], all_sites: bool) -> list[str]:
    if all_sites:
        if not study.sites:
            raise UsageError("the site list lists no site", remedy="print the blank sheet instead")
        return [entry.number for entry in study.sites]
    return list(dict.fromkeys(on_list(study, site).number for site in sites)) or [BLANK]
