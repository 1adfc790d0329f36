"""``sheet-reader history``: how each value of a visit came to be."""

from __future__ import annotations

import math
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import open_study, parse_visit, say, study_argument
from sheet_reader.cli.opening import open_record, tell_notes
from sheet_reader.errors import UsageError
from sheet_reader.wording import words

if TYPE_CHECKING:
    from sheet_reader.record.history.history import HistoryEntry


@click.command(short_help="Show how each value of a visit came to be.")
@study_argument
@click.option("--site", required=True, metavar="N", help="The site's number.")
@click.option("--visit", required=True, metavar="DATE", help="The visit date, e.g. 2026-05-20.")
def history(study: Path, site: str, visit: str) -> None:
    """Show how each value of a visit came to be: read, decided, by whom, when, with what.

    The line marked with an asterisk is the one that serves now.

    Example:  sheet-reader history bean_tips --site 2043 --visit 2026-05-20
    """
    from sheet_reader.record.people.remarks import remarks_of
    from sheet_reader.study.kinds import site_meant

    opened = open_study(study)
    day = parse_visit(visit, opened)
    site = site_meant(opened, site)
    with open_record(opened, for_reading=True) as record:
        tell_notes(record)
        entries = record.history(site, day)
        here = [v for v in record.state() if (v.site, v.visit_date) == (site, day)]
        pages = [page.page_instance_id for visit in here for page in visit.pages]
        remarks = remarks_of(record).on((site, day), pages)
    if not entries:
        raise UsageError(
            f"nothing is recorded for site {site} on {day}",
            remedy="see the columns site and visit_date of readings.csv",
        )
    for field, of_field in groupby(entries, key=lambda entry: entry.field):
        click.echo(field)
        for entry in of_field:
            click.echo(f"  {'*' if entry.is_current else ' '} {told(entry)}")
    if remarks:
        click.echo("remarks")
        for remark in remarks:
            say(f"    {remark}")


def told(entry: HistoryEntry) -> str:
    """One event in one line."""
    value = "" if entry.value is None else f" {entry.value}"
    if entry.was is not None and entry.was != entry.value:
        value += f" (was {entry.was})"
    sure = "" if entry.confidence is None else f" ({rounded_down(entry.confidence)} %)"
    why = f": {words(entry.reasons)}" if entry.reasons else ""
    why += f": “{entry.why}”" if entry.why else ""
    source = f"{entry.photo}, page {entry.page}, layout {entry.layout}"
    model = f", model {entry.model}" if entry.model else ""
    return f"{entry.at}  {entry.what}{value}{sure} by {entry.by}{why}  [{source}{model}]"


def rounded_down(probability: float) -> str:
    """Per cent with two decimals, never rounded up to a certainty that is none."""
    return f"{math.floor(probability * 10_000) / 100:g}"
