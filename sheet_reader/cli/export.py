"""``sheet-reader export``: hand out the tables in the formats that others use."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

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
from sheet_reader.cli.opening import open_record
from sheet_reader.results.formats import FORMATS

if TYPE_CHECKING:
    from sheet_reader.results.facts import Facts


def _each(
    context: click.Context, option: click.Parameter, values: tuple[str, ...]
) -> tuple[str, ...]:
    """Every format that is named, also where commas part several; fails for one there is not."""
    one = click.Choice(tuple(FORMATS))
    parts = [part.strip() for value in values for part in value.split(",")]
    return tuple(one.convert(part, option, context) for part in parts)


@click.command(short_help="Write the tables, in the formats that others use.")
@study_argument
@click.option(
    "--format", "formats", callback=_each, multiple=True, metavar=f"[{'|'.join(FORMATS)}]",
    default=("csv",), show_default=True,
    help="What to write; several are parted by commas, or given one after the other.",
)  # fmt: skip
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="DIR",
    help="The folder to write into; results/ in the study folder if left out.",
)  # fmt: skip
@click.option(
    "--file-names", is_flag=True,
    help="Put the photos' file names into readings.csv, for your own eyes: they may name people.",
)  # fmt: skip
@click.option(
    "--since", type=click.Path(path_type=Path), metavar="DIR",
    help="The folder of a former export, with which changes.csv compares; --out if left out.",
)  # fmt: skip
def export(
    study: Path, formats: tuple[str, ...], out: Path | None, file_names: bool, since: Path | None
) -> None:
    """Write the tables: rows, counts and readings.

    rows has a line for each visit and a column for each field; an empty cell means "not recorded",
    never 0, and a field that waits for you stays empty; the column "waiting" counts those. A value
    that held and against which something speaks now stays; the column "doubted" names its field.
    counts has a line for each count of a plot. readings has a line for each field and photo with
    its status: accepted, doubted, flagged, confirmed, corrected, typed, empty or unreadable, and
    the reason of a doubt in words and as a code to group by. Photos bear neutral names there
    (photo-0027), since file names may name people.

    csv writes these as UTF-8 that is safe to open in a spreadsheet, and a dictionary of all
    columns. data-package (Frictionless) and darwin-core (an archive with the Humboldt extension)
    are for publishing: they hold neither remarks nor names of places nor coordinates, unless the
    study's [publication] allows places. excel is a workbook, parquet for programs.

    visit_id names a visit for good, whatever is put right in it, and modified says when something
    last was. Where a rows.csv lies in the folder already, changes.csv says what was added, changed
    and is gone since then: visit, field, before and after.

    Example:  sheet-reader export bean_tips --format csv,excel --out results
    """
    from sheet_reader.cli.names import meaning_notes
    from sheet_reader.errors import UsageError
    from sheet_reader.results.export import columns_of, export_files, lost_columns
    from sheet_reader.results.facts import facts_of, file_names_of
    from sheet_reader.results.frames import tables_of

    opened = open_study(study)
    if file_names and set(formats) != {"csv"}:
        raise UsageError(
            "file names are for your own eyes: they go into CSV files only",
            remedy="leave out --file-names, or write csv alone",
        )
    place = out or opened.folder / "results"
    had = columns_of(place)
    with open_record(opened, for_reading=True) as record:
        facts = facts_of(record)
        tables = tables_of(opened, facts, file_names_of(record) if file_names else None)
        for path in export_files(opened, tables, place, formats, since):
            click.echo(str(path))
        waiting = questions_of(record)
        say(f"{counted(len(facts.visits), 'visit')}. {waits(waiting)}")
        for line in lost_columns(opened, had, place):
            say(f"note: {line}")
        tell_notes(record)
        for line in meaning_notes(record):
            say(f"note: {line}")
    for note in _missing_pages(facts):
        click.echo(f"note: {note}; its fields are empty in the rows")
    if waiting:
        click.echo(f"Next:  {hint('review', opened.folder)}")


def _missing_pages(facts: Facts) -> Iterator[str]:
    """A line for each visit of which only some pages have come in."""
    for visit in facts.visits:
        missing = [str(p) for p in range(1, facts.pages_of + 1) if p not in visit.pages]
        if visit.site and visit.visit_date and missing:
            word = "page" if len(missing) == 1 else "pages"
            yield f"site {visit.site} on {visit.visit_date} lacks {word} {' and '.join(missing)}"
