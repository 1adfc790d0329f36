"""``sheet-reader aside`` and ``back``: photos or sheets that were sent by mistake."""

from __future__ import annotations

from pathlib import Path

import click

from sheet_reader.cli.common import open_study, person, study_argument
from sheet_reader.cli.on_sheets import AS, REASON, SHEET, tell_standing, which
from sheet_reader.cli.opening import must_have_record, open_record

PHOTO = click.argument("photo", metavar="PHOTO")


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
        click.echo(f"{which(fate, sheet)} {done}.")
        tell_standing(record)
