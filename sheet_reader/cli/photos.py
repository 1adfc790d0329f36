"""``sheet-reader photos``, ``aside`` and ``back``: every photo and what became of it, and
those sent by mistake.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, open_study, parse_visit, person, refuse, study_argument
from sheet_reader.cli.on_sheets import AS, REASON, SHEET, show_photo, tell_standing
from sheet_reader.cli.opening import must_have_record, open_record
from sheet_reader.errors import UsageError

if TYPE_CHECKING:
    from sheet_reader.record.history.photo_fates import Fate, PhotoFate, PhotoSheet

FATE_NAMES: tuple[Fate, ...] = (
    "read", "read in part", "replaced", "repeated", "without a place", "waiting", "not readable",
    "typed in", "set aside", "check",
)  # fmt: skip
COLUMNS = ("photo", "arrived", "from", "fate", "sheet", "site", "visit_date", "waiting",
           "instead", "reason", "reason_code")  # fmt: skip
PHOTO = click.argument("photo", metavar="PHOTO")


@click.command(short_help="List every photo and what became of it.")
@study_argument
@click.argument("photo", required=False, metavar="[PHOTO]")
@click.option("--site", metavar="N", help="Only photos with a sheet of this site.")
@click.option("--visit", metavar="DATE", help="Only photos with a sheet of this date.")
@click.option("--fate", type=click.Choice(FATE_NAMES), metavar="FATE",
              help=f"Only photos of this fate: {', '.join(FATE_NAMES)}.")  # fmt: skip
@click.option("--waits", is_flag=True, help="Only photos with fields that wait for you.")
@click.option("--csv", "as_csv", is_flag=True, help="As a table on standard output, without names.")
@click.option("--open", "opens", is_flag=True, help="Show the picture of PHOTO, its boxes drawn.")
def photos(
    study: Path, photo: str | None, site: str | None, visit: str | None, fate: str | None,
    waits: bool, as_csv: bool, opens: bool,
) -> None:  # fmt: skip
    """List every photo: when it came and how, what became of it and why, site, date, what waits.

    With PHOTO (photo-0027, or the file's name) that one alone. The table of --csv holds no file
    names; the copy that --open shows holds none of the camera's notes.

    Example:  sheet-reader photos bean_tips --waits
    """
    from sheet_reader.record.history.photo_fates import photo_fates, photo_meant
    from sheet_reader.study.kinds import site_meant

    refuse((opens and as_csv, "choose one of --open and --csv"))
    opened = open_study(study)
    if opens and photo is None:
        raise UsageError("say which photo to show", remedy="sheet-reader photos STUDY PHOTO --open")
    must_have_record(opened)
    number = None if site is None else site_meant(opened, site)
    if number is not None and opened.site(number) is None:
        raise UsageError(f"site {number} is not on the site list")
    day = None if visit is None else parse_visit(visit, opened)
    with open_record(opened, for_reading=True) as record:
        found = photo_fates(record) if photo is None else [photo_meant(record, photo)]
        found = [f for f in found if _wanted(f, number, day, fate, waits)]
        if opens:
            for one in found:
                show_photo(record, one.photo_id)
        elif as_csv:
            _write_csv(found)
        else:
            for one in found:
                click.echo(_told(one))
            fates = Counter(one.fate for one in found)
            said = [f"{fates[name]} {name}" for name in FATE_NAMES if fates[name]]
            click.echo(counted(len(found), "photo") + (f": {', '.join(said)}." if said else "."))


def _wanted(
    one: PhotoFate, site: str | None, day: str | None, fate: str | None, waits: bool
) -> bool:
    here = any(site in (None, s.site) and day in (None, s.visit_date) for s in one.sheets)
    return (
        (here or (site is None and day is None))
        and fate in (None, one.fate)
        and (one.waiting > 0 or not waits)
    )


def _told(one: PhotoFate) -> str:
    """A photo in one line, for the coordinator's own eyes."""
    from sheet_reader.record.history.photos import both_names
    from sheet_reader.wording import words

    why = words(one.reasons) if one.fate != "set aside" else one.why
    way = [f"from {one.way}"] if one.way != "typed" else []
    parts = [both_names(one.photo_id, one.name), one.received_at[:10], *way, _fate(one)]
    line = ", ".join([*parts, *(_place(one, sheet) for sheet in one.sheets)])
    line += f", {counted(one.waiting, 'field')} waiting" if one.waiting else ""
    return f"{line}: {why}" if why else line


def _fate(one: PhotoFate) -> str:
    """The fate, with the photo that serves instead."""
    return next((s.became.words for s in one.sheets if s.became.what == one.fate), one.fate)


def _place(one: PhotoFate, sheet: PhotoSheet) -> str:
    place = f"site {sheet.site or '?'} on {sheet.visit_date or '?'}"
    own = "set aside" if sheet.aside else sheet.became.words
    return place if own in (_fate(one), "read") else f"{place} ({own})"


def _write_csv(found: Iterable[PhotoFate]) -> None:
    """A line for each sheet, or for a photo that gave none. No names of files or people, and no
    reason that a person typed.
    """
    from sheet_reader.reasons import Code, codes_of
    from sheet_reader.results.cells import render_csv
    from sheet_reader.wording import words

    lines = []
    for one in found:
        shown = [r for r in one.reasons if r.code not in (Code.TEXT, Code.NO_PICTURE)]
        about = [one.neutral_name, one.received_at, one.way, one.fate]
        reasons = [words(shown), codes_of(one.reasons)]
        for number, sheet in enumerate(one.sheets, start=1):
            place = [str(number), sheet.site, sheet.visit_date, str(sheet.waiting)]
            place.append(sheet.became.instead)
            lines.append([*about, *place, *reasons])
        if not one.sheets:
            lines.append([*about, "", "", "", "0", "", *reasons])
    click.echo(render_csv(COLUMNS, lines), nl=False)


@click.command(short_help="Let a photo or sheet sent by mistake count nowhere.")
@study_argument
@PHOTO
@SHEET
@REASON
@AS
def aside(study: Path, photo: str, number: int | None, reason: str, name: str | None) -> None:
    """Set PHOTO aside, or one sheet in it: it stays in the record and counts nowhere.

    PHOTO is a name as the tool shows it (photo-0027), or that of the photo's file. Its rows leave
    the exports, its questions the review; history still tells of it, and back undoes it.

    Example:  sheet-reader aside bean_tips photo-0007 --reason trial
    """
    _decide(study, photo, number, reason, name, back=False)


@click.command(short_help="Let a photo or sheet count again that was set aside or replaced.")
@study_argument
@PHOTO
@SHEET
@REASON
@AS
def back(study: Path, photo: str, number: int | None, reason: str, name: str | None) -> None:
    """Let PHOTO, or one sheet in it, count again after it was set aside.

    Where another photo replaced it, since somebody took both for the same sheet, that answer is
    taken back and review asks anew.

    Example:  sheet-reader back bean_tips photo-0007
    """
    _decide(study, photo, number, reason, name, back=True)


def _decide(
    study: Path, photo: str, number: int | None, reason: str, name: str | None, *, back: bool
) -> None:
    from sheet_reader.record.history import mending
    from sheet_reader.record.history.photo_fates import photo_meant, sheet_meant

    opened = open_study(study)
    must_have_record(opened)
    with open_record(opened) as record:
        fate = photo_meant(record, photo)
        sheet = None if number is None else sheet_meant(fate, number)
        page = None if sheet is None else sheet.page_instance_id
        by, done = person(name), "is set aside: it counts nowhere now"
        if not back:
            mending.set_aside(record, fate.photo_id, page, by=by, reason=reason)
        elif mending.take_back(record, fate.photo_id, page, by=by, reason=reason):
            done = "is replaced no more; which photo serves, and where, is asked again"
        else:
            done = "counts again"
        which = f"sheet {fate.sheets.index(sheet) + 1} of " if sheet and fate.sheets[1:] else ""
        click.echo(f"{which}{fate.neutral_name} {done}.")
        tell_standing(record)
