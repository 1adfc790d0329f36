"""``sheet-reader status``: who has sent what, and what is open."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import open_study, study_argument
from sheet_reader.cli.opening import open_record, tell_notes
from sheet_reader.study import days

if TYPE_CHECKING:
    from sheet_reader.results.status.standing import State

COLOURS = {
    "in": "green", "waits": "yellow", "incomplete": "cyan", "unclear": "magenta", "missed": "red",
}  # fmt: skip
A_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command(short_help="Show who has sent what, and what is open.")
@study_argument
@click.option("--picture", type=A_FILE, metavar="FILE", help="Draw it; FILE ends in .svg or .png.")
@click.option("--csv", "table", type=A_FILE, metavar="FILE", help="A line per site and visit.")
@click.option("--json", "data", type=A_FILE, metavar="FILE", help="All of it, for programs.")
def status(study: Path, picture: Path | None, table: Path | None, data: Path | None) -> None:
    """Show sites by expected visits: in, waits, incomplete, unclear, missed or not due.

    A visit is expected on the season's first day and then every interval_days; one that came in
    belongs to the expected day next to it. Below stand the sites with too few visits ("least" in
    [visits]), what waits by reason, photos that gave nothing, and how the promise stands.

    Example:  sheet-reader status bean_tips --picture status.svg
    """
    from sheet_reader.errors import UsageError
    from sheet_reader.reading.opening import promise_of
    from sheet_reader.results.facts import facts_of
    from sheet_reader.results.status import report
    from sheet_reader.results.status.standing import status_of
    from sheet_reader.results.whole_files import write_file

    kind = picture.suffix.lower().lstrip(".") if picture is not None else ""
    if picture is not None and kind not in ("svg", "png"):
        raise UsageError("the picture must end in .svg or .png", where=picture)
    opened = open_study(study)
    with open_record(opened, for_reading=True) as record:
        found = status_of(opened, facts_of(record), days.today(opened), promise_of(record).sentence)
        for line in report.status_lines(found, _coloured):
            click.echo(line)
        tell_notes(record)
    if picture is not None:
        click.echo(str(write_file(picture, report.status_picture(found, kind))))
    if table is not None:
        click.echo(str(write_file(table, report.status_csv(found))))
    if data is not None:
        click.echo(str(write_file(data, report.status_json(found))))


def _coloured(text: str, state: State) -> str:
    return click.style(text, fg=COLOURS.get(state), dim=state == "not due")
