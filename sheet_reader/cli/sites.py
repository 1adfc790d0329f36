"""``sheet-reader sites``: the list of sites, their names, and more site numbers."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.atomic import atomic_write
from sheet_reader.cli.common import counted, hint, open_study, refuse, study_argument
from sheet_reader.cli.opening import open_record
from sheet_reader.errors import StorageError, UsageError

if TYPE_CHECKING:
    from sheet_reader.study.study import Study


@click.command(short_help="List the sites, name them, or add some.")
@study_argument
@click.option(
    "--add", type=click.IntRange(1, 2000), metavar="N", help="Add so many sites to the site list."
)
@click.option(
    "--labels", type=click.Path(path_type=Path), metavar="FILE",
    help="A text file with names, one a line: with --add those of the new sites, else of the sites "
    "on the list that have none, in its order.",
)
@click.option(
    "--name", "named", multiple=True, metavar="NUMBER=NAME",
    help="Call the site with this number so. May be given several times.",
)
def sites(study: Path, add: int | None, labels: Path | None, named: tuple[str, ...]) -> None:
    """List the sites of STUDY, name them, or add new ones.

    New numbers end in their check digit. They are chosen so that no misread digit and no two
    swapped ones turn one number into another, and numbers that left the list are not used again
    once sheets with them were read. The lines there stay as they are.

    Example:  sheet-reader sites bean_tips --add 12 --labels new_sites.txt
    """
    from sheet_reader.study.site_list import labels_for, names_given, names_in_order, read_labels
    from sheet_reader.study.site_numbers import smallest_distance

    refuse((named and (add or labels), "--name goes alone: leave out --add and --labels"))
    opened = open_study(study)
    names = read_labels(labels) if labels else ()
    if labels and not names:
        raise UsageError("names no site", where=labels)
    if not add and (names or named):
        _name(opened, names_given(opened, named) if named else names_in_order(opened, names))
        return
    if add:
        opened = _more(opened, add, labels_for(add, names))
    for site in opened.sites[-(add or 0) :]:
        click.echo(f"{site.number}  {site.label}".rstrip())
    apart = smallest_distance([site.number for site in opened.sites])
    line = counted(len(opened.sites), "site") + (" now" if add else "")
    click.echo(line + (f"; any two numbers differ in {apart} digits or more." if apart else "."))
    if add:
        click.echo(f"Next:  {hint('print', opened.folder)} --all-sites")


def _name(study: Study, labels: Mapping[str, str]) -> None:
    """Write these names into the site list, and show which number has which."""
    from sheet_reader.study.site_list import with_labels

    path = study.folder / study.sites_file
    try:
        text = with_labels(path.read_bytes().decode("utf-8"), labels)
        atomic_write({path: text.encode("utf-8")})
    except OSError as error:
        raise StorageError(f"can't be written: {error.strerror}", where=path) from None
    for site in study.sites:
        if site.number in labels:
            before = f" (was {site.label})" if site.label not in ("", labels[site.number]) else ""
            click.echo(f"{site.number}  {labels[site.number]}{before}")
    click.echo(f"{counted(len(labels), 'site')} named: check that each name is that of its number.")
    click.echo(f"Next:  {hint('print', study.folder)} --all-sites")


def _more(study: Study, number: int, labels: tuple[str, ...]) -> Study:
    """The study with so many sites more, in its file too."""
    from sheet_reader.study.reader import read_study
    from sheet_reader.study.site_list import with_sites
    from sheet_reader.study.site_numbers import choose_numbers

    used = [site.number for site in study.sites]
    gone = sorted(_read_before(study) - set(used))
    chosen = choose_numbers(number, [*used, *gone], study.site_field.boxes)
    path = study.folder / study.sites_file
    try:
        text = path.read_bytes().decode("utf-8")
        atomic_write({path: with_sites(text, chosen.numbers, labels).encode("utf-8")})
    except OSError as error:
        raise StorageError(f"can't be written: {error.strerror}", where=path) from None
    return read_study(study.folder)


def _read_before(study: Study) -> set[str]:
    """The sites of all sheets read so far, on the site list or not."""
    from sheet_reader.record.store.place import has_record

    if not has_record(study.folder):
        return set()
    with open_record(study) as record:
        return {visit.site for visit in record.visits() if visit.site}
