"""``sheet-reader export``: hand out rows and readings."""

from __future__ import annotations

from pathlib import Path

import click

from sheet_reader.cli.common import counted, open_study, study_argument


@click.command(short_help="Write rows.csv and readings.csv.")
@study_argument
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="The folder to write into; results/ in the study folder if left out.",
)
def export(study: Path, out: Path | None) -> None:
    """Write rows.csv and readings.csv.

    rows.csv has a line for each visit and a column for each field; an empty cell means "not
    recorded", never 0, and a field that waits for you stays empty; the column "waiting" counts
    those. readings.csv has a line for each field and photo with its status: accepted, flagged,
    confirmed, corrected, empty or unreadable. Both are UTF-8 and safe to open in a spreadsheet.

    Example:  sheet-reader export bean_tips --out results
    """
    from sheet_reader.record.store import Record
    from sheet_reader.results.export import export_files
    from sheet_reader.results.reminders import missing_pages
    from sheet_reader.sheet.layout import lay_out

    opened = open_study(study)
    with Record.open(opened, for_reading=True) as record:
        visits = record.visits()
        files = export_files(opened, visits, record.readings(), out or opened.folder / "results")
    for path in files:
        click.echo(str(path))
    waiting = sum(visit.waiting for visit in visits)
    click.echo(f"{counted(len(visits), 'visit')}; {counted(waiting, 'field')} waiting for you.")
    for missing in missing_pages(visits, len(lay_out(opened).pages)):
        click.echo(f"note: {missing}; its fields are empty in the rows")
    if waiting:
        click.echo(f"Next:  sheet-reader review {opened.folder}")
