"""``sheet-reader backup``, ``restore``, ``verify`` and ``erase``: keeping the record."""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, hint, open_study, some_of, study_argument
from sheet_reader.cli.opening import must_have_record
from sheet_reader.cli.terminal import clean_name, must_be_answerable

if TYPE_CHECKING:
    from sheet_reader.record.people.traces import Traces

NOT_ALL_ERASED = 1
FAULTS_FOUND = 4
"""The exit code of RecordError: the record is damaged."""


@click.command(short_help="Work on one record on a server from a second folder.")
@study_argument
@click.option("--yes", is_flag=True, help="Do it without asking.")
def join(study: Path, yes: bool) -> None:
    """Make the folder STUDY a further desk of the record that SHEET_READER_RECORD names.

    For several coordinators of one study, each with a folder of her own that has the same
    study.toml and site list: what is read or answered at one desk is there for all. A copied folder
    is refused until this is said, once, so that no other study writes into the record. Let all
    desks keep their photos in one place, which SHEET_READER_ORIGINALS names.

    Example:  sheet-reader join bean_tips_kim
    """
    import os

    from sheet_reader.record.store.engine import URL_VARIABLE, checked_address
    from sheet_reader.record.store.place import join as join_record
    from sheet_reader.record.store.place import plain_address

    opened = open_study(study)
    url = os.environ.get(URL_VARIABLE, "")
    if not yes and url:
        _must_agree(
            f"{opened.folder} shall work on the record at {plain_address(checked_address(url))}, "
            "and change it. Is this a second desk of the same study?"
        )
    click.echo(f"{opened.folder} is a desk of the record at {join_record(opened)}")
    click.echo(f"Next:  {hint('status', opened.folder)}")


@click.command(short_help="Copy the record and all photos into one file.")
@study_argument
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE")
@click.option("--yes", is_flag=True, help="Write over an earlier backup without asking.")
def backup(study: Path, file: Path, yes: bool) -> None:
    """Copy the record, every photo, study.toml and the site list into one tar archive.

    The copy is consistent, also while photos are being read or reviewed. It appears whole or not
    at all, and replaces nothing but an earlier backup. Photos that are missing or damaged are
    named, and the exit code is then 4. To put it back, use restore. It holds all that the record
    holds, names of senders too: keep it as safe as the study folder. Where FILE is an earlier
    backup you are asked before it is replaced. A record on a database server is copied, too, and is
    a file of its own when put back.

    Example:  sheet-reader backup bean_tips beans-2026-06-01.tar
    """
    from sheet_reader.record.originals.backup import backup as back_up
    from sheet_reader.record.originals.backup import backup_target
    from sheet_reader.record.store.place import must_not_be_blank

    opened = open_study(study)
    if not yes:
        must_not_be_blank(opened.folder)
        if file.exists() and backup_target(opened.folder, file).exists():
            _must_agree(f"{file} is an earlier backup. Replace it?")
    made = back_up(opened, file)
    _list("fault", made.problems)
    _list("note", made.notes)
    click.echo(f"{made.file}: {counted(made.photos, 'photo')}, {made.bytes / 1e6:,.1f} MB")
    if made.problems:
        faults = counted(len(made.problems), "fault")
        click.echo(f"This backup is not complete: {faults}. Keep the earlier ones.")
        raise click.exceptions.Exit(FAULTS_FOUND)


@click.command(short_help="Put a backup in place of the record.")
@click.argument("study", type=click.Path(path_type=Path), metavar="STUDY")
@click.argument("file", type=click.Path(path_type=Path), metavar="BACKUP")
@click.option("--yes", is_flag=True, help="Do it without asking.")
def restore(study: Path, file: Path, yes: bool) -> None:
    """Put a backup in place of the record of STUDY, or into a new folder.

    The backup is checked first; a damaged one changes nothing. You are told what the present record
    holds beyond it and asked. The present record is then set aside whole, with its photos, in a
    folder of its own beside them, before-restore- and the time, in which every command works. Your
    settings and site list stay as they are now. If it is stopped in between, start it again.

    Example:  sheet-reader restore bean_tips beans-2026-06-01.tar
    """
    from sheet_reader.record.originals.backup_contents import BackupContents
    from sheet_reader.record.originals.restore import restore as put_back

    folder = study.parent if study.is_file() and study.suffix == ".toml" else study

    def agree(found: BackupContents) -> None:
        held = found.restored
        last = f", the last of {held.last[:16].replace('T', ' ')} UTC" if held.last else ""
        photos, answers = counted(len(held.photos), "photo"), counted(len(held.decisions), "answer")
        click.echo(f"This backup is sound: {photos}, {answers}{last}.")
        for line in found.lacks:
            click.echo(f"  It lacks: {line}")
        if not yes and (folder / "record.sqlite").exists():
            _must_agree("Set the present record aside and put this in its place?")

    done = put_back(file, folder, agree)
    _list("note", done.notes)
    click.echo(f"Put back: {file}")
    if done.aside is None:
        click.echo(f"Next:  {hint('status', folder)}")
        return
    click.echo(f"The record as it was: {done.aside}")
    if done.compared.lacks:
        click.echo(f"Next:  {hint('read', folder)} {shlex.quote(str(done.aside / 'originals'))}")
        click.echo("       takes in the photos that came since; answers are given anew:")
        click.echo(f"       {hint('export', done.aside)}  shows them as they were")


@click.command(short_help="Check that nothing in the record is damaged or missing.")
@study_argument
def verify(study: Path) -> None:
    """Check the database and each of its rows, every photo against its hash, and the layouts.

    Values that were changed, added or removed by another program are named by visit and field.

    Faults are listed, one a line, and the exit code is then 4. Notes are harmless.

    Example:  sheet-reader verify bean_tips
    """
    from sheet_reader.reading.opening import thresholds_for
    from sheet_reader.record.originals.verify import verify as check

    opened = open_study(study)
    must_have_record(opened)
    verdict = check(opened, thresholds=thresholds_for(opened.allowed_error))
    _list("fault", verdict.problems)
    _list("note", verdict.notes)
    checked = (
        f"{counted(verdict.photos, 'photo')}, {counted(verdict.pages, 'page')}, "
        f"{counted(verdict.decisions, 'decision')} checked"
    )
    if not verdict.sound:
        click.echo(f"{checked}: {counted(len(verdict.problems), 'fault')}.")
        click.echo(f"Next:  {hint('restore', opened.folder)} BACKUP  puts one in its place")
        raise click.exceptions.Exit(FAULTS_FOUND)
    click.echo(f"{checked}: all sound.")


@click.command(short_help="Remove a volunteer's personal data and keep the counts.")
@study_argument
@click.option(
    "--contact", required=True, metavar="TEXT",
    help="The name or mail address to erase, as whole words.",
)  # fmt: skip
@click.option(
    "--photo", "photos", multiple=True, metavar="PHOTO",
    help="A photo in which this person counted, such as photo-0027; may be given several times.",
)  # fmt: skip
@click.option("--yes", is_flag=True, help="Do it without asking.")
def erase(study: Path, contact: str, photos: tuple[str, ...], yes: bool) -> None:
    """Remove what the record knows of a person: sender, subject, file names, tags, remarks, name.

    What would go is shown before you are asked. The photos stay as bare pictures without the
    camera's tags, the box for who counted blanked, and so do all counts and decisions. This can't
    be undone. Handwriting is not read: the photos meant are those that this person sent or is named
    with, those of sites whose contact the person is, and those given with --photo. What people
    wrote as comments stays in the pictures.

    A photo that can't be cleaned is named, and the exit code is then 1. Your own files that still
    name the person are listed: sites, inbox, older tables and overlays, backups.

    Example:  sheet-reader erase bean_tips --contact orchard@example.org
    """
    from sheet_reader.reading.opening import open_record
    from sheet_reader.reading.written_areas import bare_picture
    from sheet_reader.record.history.photo_fates import photo_meant
    from sheet_reader.record.people.erase import erase as remove
    from sheet_reader.record.people.erase import named

    opened = open_study(study)
    must_have_record(opened)
    contact = clean_name(contact)
    with open_record(opened) as record:
        hers = {photo_meant(record, text).photo_id for text in photos}
    for line in _meant(contact, named(opened, contact, photos=hers)):
        click.echo(line)
    if not yes:
        _must_agree("Erase all this?")
    gone = remove(opened, contact, bare_picture, photos=hers)
    click.echo(
        f"Erased: {counted(gone.origins, 'note')} of who sent what, "
        f"{counted(gone.photos - len(gone.kept), 'photo')} made anonymous, "
        f"{counted(gone.decisions, 'answer')} without a name, "
        f"{counted(gone.remarks, 'remark')} removed. All counts stay."
    )
    _list("not clean", gone.kept)
    _list("note", (*gone.elsewhere, *gone.lingering, "backups made before still hold it"))
    if gone.kept or gone.lingering:
        raise click.exceptions.Exit(NOT_ALL_ERASED)


def _meant(contact: str, traces: Traces) -> list[str]:
    """Whose and how much it is that “contact” names in the record."""
    unread = []
    if traces.at_sites:
        at_sites = counted(len(traces.at_sites), "more photo")
        unread.append(f"  {at_sites} of sites with this contact, for who counted")
    if traces.others:
        others = counted(traces.others, "other photo")
        unread.append(f"  not: {others}; see in them who counted, and give --photo")
    if not traces.any:
        silent = f"The record does not name “{contact}”; your own files are looked through."
        return [silent, *unread]
    named = (
        (len(traces.photos), "photo", f": {some_of(traces.names)}"),
        (traces.mails, "mail", f" from {some_of(traces.senders)}"),
        (traces.decisions, "answer", f" given as {some_of(traces.deciders)}"),
        (traces.reasons, "reason", " given for an answer"),
        (len(traces.remarks), "remark", " made by or naming this person"),
        (traces.at_work, "note", " of a program at work for this person"),
        (traces.labels, "label", " of a site that names this person"),
    )
    lines = [f"  {counted(number, what)}{how}" for number, what, how in named if number]
    return [f"“{contact}” means, in the record:", *lines, *unread]


def _must_agree(question: str) -> None:
    """Ends the command unless a person says yes."""
    must_be_answerable()
    click.confirm(question, abort=True)


def _list(what: str, lines: Iterable[str]) -> None:
    for line in lines:
        click.echo(f"{what}: {line}")
