"""``sheet-reader sites``: the list of sites, and more site numbers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, hint, open_study, study_argument
from sheet_reader.errors import UsageError

if TYPE_CHECKING:
    from sheet_reader.study.model import Study


@click.command(short_help="List the sites, or add some.")
@study_argument
@click.option(
    "--add", type=click.IntRange(1, 2000), metavar="N", help="Add so many sites to the site list."
)
@click.option(
    "--labels", type=click.Path(path_type=Path), metavar="FILE",
    help="A text file with the names of the new sites, one a line.",
)
def sites(study: Path, add: int | None, labels: Path | None) -> None:
    """List the sites of STUDY, or add new ones.

    New numbers end in their check digit. They are chosen so that no misread digit and no two
    swapped ones turn one number into another, and numbers that left the list are not used again
    once sheets with them were read. The lines there stay as they are.

    Example:  sheet-reader sites bean_tips --add 12 --labels new_sites.txt
    """
    from sheet_reader.study.more_sites import labels_for, read_labels
    from sheet_reader.study.site_numbers import smallest_distance

    opened = open_study(study)
    names = read_labels(labels) if labels else ()
    number = add or len(names)
    if labels and not number:
        raise UsageError("names no site", where=labels)
    if number:
        opened = _more(opened, number, labels_for(number, names))
    for site in opened.sites[-number:]:
        click.echo(f"{site.number}  {site.label}".rstrip())
    apart = smallest_distance([site.number for site in opened.sites])
    line = counted(len(opened.sites), "site") + (" now" if number else "")
    click.echo(line + (f"; any two numbers differ in {apart} digits or more." if apart else "."))
    if number:
        click.echo(f"Next:  {hint('print', opened.folder)} --all-sites")


def _more(study: Study, number: int, labels: tuple[str, ...]) -> Study:
    """The study with so many sites more, in its file too."""
    from sheet_reader.errors import StorageError
    from sheet_reader.sheet.files import write_whole
    from sheet_reader.study.more_sites import with_sites
    from sheet_reader.study.reader import read_study
    from sheet_reader.study.site_numbers import choose_numbers

    used = [site.number for site in study.sites]
    boxes = next(field.boxes for field in study.header if field.kind == "site")
    gone = sorted(_read_before(study) - set(used))
    chosen = choose_numbers(number, [*used, *gone], boxes)
    path = study.folder / study.sites_file
    try:
        text = path.read_bytes().decode("utf-8")
        write_whole(path, with_sites(text, chosen.numbers, labels).encode("utf-8"))
    except OSError as error:
        raise StorageError(f"can't be written: {error.strerror}", where=path) from None
    return read_study(study.folder)


def _read_before(study: Study) -> set[str]:
    """The sites of all sheets read so far, on the site list or not."""
    from sheet_reader.reading.opening import open_record
    from sheet_reader.record.engine import has_record

    if not has_record(study.folder):
        return set()
    with open_record(study) as record:
        return {visit.site for visit in record.visits() if visit.site}
