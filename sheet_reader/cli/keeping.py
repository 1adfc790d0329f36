"""``sheet-reader backup``, ``verify`` and ``erase``: keeping the record safe and discreet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, hint, open_study, study_argument
from sheet_reader.cli.terminal import clean_name, must_be_answerable
from sheet_reader.errors import UsageError

if TYPE_CHECKING:
    from sheet_reader.record.traces import Traces
    from sheet_reader.study.model import Study

MOST_NAMES = 5
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

    from sheet_reader.record.address import URL_VARIABLE, checked_address
    from sheet_reader.record.place import join as join_record
    from sheet_reader.record.place import plain_address

    opened = open_study(study)
    url = os.environ.get(URL_VARIABLE, "")
    if not yes and url:
        must_be_answerable()
        place = plain_address(checked_address(url))
        click.confirm(
            f"{opened.folder} shall work on the record at {place}, and change it. Is this a second "
            "desk of the same study?",
            abort=True,
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
    named, and the exit code is then 4. To put it back, unpack it into an empty folder. It holds
    all that the record holds, names of senders too: keep it as safe as the study folder. Where
    FILE is an earlier backup you are asked before it is replaced. A record on a database server is
    copied, too, and is a file of its own when put back.

    Example:  sheet-reader backup bean_tips beans-2026-06-01.tar
    """
    from sheet_reader.record.backup import backup as back_up

    opened = open_study(study)
    if not yes and _replaces_backup(opened, file):
        must_be_answerable()
        click.confirm(f"{file} is an earlier backup. Replace it?", abort=True)
    made = back_up(opened, file)
    for problem in made.problems:
        click.echo(f"fault: {problem}")
    for note in made.notes:
        click.echo(f"note: {note}")
    click.echo(f"{made.file}: {counted(made.photos, 'photo')}, {made.bytes / 1e6:,.1f} MB")
    if made.problems:
        faults = counted(len(made.problems), "fault")
        click.echo(f"This backup is not complete: {faults}. Keep the earlier ones.")
        raise click.exceptions.Exit(FAULTS_FOUND)


def _replaces_backup(study: Study, file: Path) -> bool:
    """Whether an earlier backup lies at ``file``. Raises UsageError where no backup may go."""
    from sheet_reader.record.backup import backup_target
    from sheet_reader.record.opening import must_not_be_blank

    must_not_be_blank(study.folder)
    return file.exists() and backup_target(study.folder, file).exists()


@click.command(short_help="Check that nothing in the record is damaged or missing.")
@study_argument
def verify(study: Path) -> None:
    """Check the database and each of its rows, every photo against its hash, and the layouts.

    Values that were changed, added or removed by another program are named by visit and field.

    Faults are listed, one a line, and the exit code is then 4. Notes are harmless.

    Example:  sheet-reader verify bean_tips
    """
    from sheet_reader.reading.promise import thresholds_for
    from sheet_reader.record.verify import verify as check

    opened = open_study(study)
    _must_exist(opened.folder)
    verdict = check(opened, thresholds=thresholds_for(opened.allowed_error))
    for problem in verdict.problems:
        click.echo(f"fault: {problem}")
    for note in verdict.notes:
        click.echo(f"note: {note}")
    checked = (
        f"{counted(verdict.photos, 'photo')}, {counted(verdict.pages, 'page')}, "
        f"{counted(verdict.decisions, 'decision')} checked"
    )
    if not verdict.sound:
        click.echo(f"{checked}: {counted(len(verdict.problems), 'fault')}.")
        click.echo("Next:  put a backup into an empty folder and compare")
        raise click.exceptions.Exit(FAULTS_FOUND)
    click.echo(f"{checked}: all sound.")


@click.command(short_help="Remove a volunteer's personal data and keep the counts.")
@study_argument
@click.option(
    "--contact",
    required=True,
    metavar="TEXT",
    help="The name or mail address to erase, as whole words.",
)
@click.option("--yes", is_flag=True, help="Do it without asking.")
def erase(study: Path, contact: str, yes: bool) -> None:
    """Remove what the record knows of a person: sender, subject, file names, tags, remarks, name.

    What would go is shown before you are asked. The photos stay as bare pictures without the
    camera's tags, and so do all counts and decisions. This can't be undone. Your own files that
    still name the person are listed: sites, inbox, older tables and overlays, backups.

    Example:  sheet-reader erase bean_tips --contact kim@example.org
    """
    from sheet_reader.record.erase import erase as remove
    from sheet_reader.record.erase import named

    opened = open_study(study)
    _must_exist(opened.folder)
    contact = clean_name(contact)
    for line in _meant(contact, named(opened, contact)):
        click.echo(line)
    if not yes:
        must_be_answerable()
        click.confirm("Erase all this?", abort=True)
    gone = remove(opened, contact)
    click.echo(
        f"Erased: {counted(gone.origins, 'note')} of who sent what, "
        f"{counted(gone.photos, 'photo')} made anonymous, "
        f"{counted(gone.decisions, 'answer')} without a name, "
        f"{counted(gone.remarks, 'remark')} removed. All counts stay."
    )
    for line in (*gone.kept, *gone.elsewhere):
        click.echo(f"note: {line}")
    click.echo("note: backups made before still hold it")


def _meant(contact: str, traces: Traces) -> list[str]:
    """Whose and how much it is that “contact” names in the record."""
    if not traces.any:
        return [f"The record does not name “{contact}”; your own files are looked through."]
    lines = [f"“{contact}” means, in the record:"]
    if traces.photos:
        lines.append(f"  {counted(len(traces.photos), 'photo')}: {_some(traces.names)}")
    if traces.mails:
        lines.append(f"  {counted(traces.mails, 'mail')} from {_some(traces.senders)}")
    if traces.decisions:
        answers = counted(traces.decisions, "answer")
        lines.append(f"  {answers} given as {_some(traces.deciders)}")
    if traces.reasons:
        lines.append(f"  {counted(traces.reasons, 'reason')} given for an answer")
    if traces.remarks:
        lines.append(f"  {counted(len(traces.remarks), 'remark')} made by or naming this person")
    return lines


def _some(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMES
    return ", ".join(names[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")


def _must_exist(folder: Path) -> None:
    from sheet_reader.record.engine import has_record
    from sheet_reader.record.opening import must_not_be_blank

    must_not_be_blank(folder)
    if not has_record(folder):
        raise UsageError(
            "this study has no record yet",
            where=folder,
            remedy=f"start with: {hint('read', folder)}",
        )
