"""``sheet-reader export``: hand out rows and readings."""

from __future__ import annotations

from pathlib import Path

import click

from sheet_reader.cli.common import (
    counted,
    hint,
    open_study,
    questions_of,
    say,
    study_argument,
    tell_notes,
    waits,
)


@click.command(short_help="Write rows.csv and readings.csv.")
@study_argument
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="The folder to write into; results/ in the study folder if left out.",
)
@click.option(
    "--file-names",
    is_flag=True,
    help="Put the photos' file names into readings.csv, for your own eyes: they may name people.",
)
def export(study: Path, out: Path | None, file_names: bool) -> None:
    """Write rows.csv and readings.csv.

    rows.csv has a line for each visit and a column for each field; an empty cell means "not
    recorded", never 0, and a field that waits for you stays empty; the column "waiting" counts
    those. readings.csv has a line for each field and photo with its status: accepted, flagged,
    confirmed, corrected, empty or unreadable, and the reason of a doubt in words and as a code to
    group by. Photos bear neutral names there (photo-0027), since
    file names may name people. Both are UTF-8 and safe to open in a spreadsheet.

    Example:  sheet-reader export bean_tips --out results
    """
    from sheet_reader.reading.opening import open_record
    from sheet_reader.results.export import export_files
    from sheet_reader.results.reminders import missing_pages
    from sheet_reader.sheet.layout import lay_out

    opened = open_study(study)
    with open_record(opened, for_reading=True) as record:
        visits = record.visits()
        names = {line.photo_id: line.name for line in record.photos()} if file_names else None
        place = out or opened.folder / "results"
        files = export_files(opened, visits, record.readings(), place, names)
        for path in files:
            click.echo(str(path))
        waiting = questions_of(record)
        say(f"{counted(len(visits), 'visit')}. {waits(waiting)}")
        tell_notes(record)
    for missing in missing_pages(visits, len(lay_out(opened).pages)):
        click.echo(f"note: {missing}; its fields are empty in the rows")
    if waiting:
        click.echo(f"Next:  {hint('review', opened.folder)}")
