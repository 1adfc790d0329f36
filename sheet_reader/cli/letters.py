"""``sheet-reader letters``: drafts of mails to volunteers, and their answers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import (
    counted,
    open_study,
    questions_of,
    refuse,
    study_argument,
    tell_notes,
    waits,
)
from sheet_reader.cli.opening import open_record
from sheet_reader.study import days

if TYPE_CHECKING:
    from sheet_reader.record.store.store import Record
    from sheet_reader.results.letters.drafts import Letter
    from sheet_reader.study.study import Study


@click.command(short_help="Draft letters to volunteers about what is open.")
@study_argument
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), metavar="DIR",
    help="The folder for the drafts; letters/ in the study folder if left out.",
)  # fmt: skip
@click.option("--again", is_flag=True, help="Draft also what was drafted before.")
@click.option(
    "--answers", type=click.Path(path_type=Path, exists=True), multiple=True, metavar="MAIL",
    help="Keep answers (.eml, .mbox, folders) as remarks on the visits; drafts nothing.",
)  # fmt: skip
@click.option(
    "--templates", is_flag=True,
    help="Put the templates into letter_templates/ in the study folder, to edit; drafts nothing.",
)  # fmt: skip
def letters(
    study: Path, out: Path | None, again: bool, answers: tuple[Path, ...], templates: bool
) -> None:
    """Draft one letter per volunteer about all that is open, as .eml files. Nothing is sent.

    A letter asks about fields left empty, sums that don't fit, what nobody can read (with a picture
    of the place), pages missing or cut off, missed visits and photos that gave nothing; it gives
    advice for the next photo and says thanks for what arrived. What was drafted is on record and
    not drafted again. Open the files in your mail program, change them as you like, and send them
    yourself.

    The words can be changed in the study's [words.letters], the letter itself in its templates. An
    answer that comes into the mailbox of read, that you save as a file in inbox/, or name with
    --answers, is kept with its visits as a remark; leave the sign in the subject, by which it is
    known.

    Example:  sheet-reader letters bean_tips
    """
    refuse(
        (templates and answers, "choose one of --templates and --answers"),
        (templates and (out or again), "--templates drafts nothing: leave out --out and --again"),
        (answers and (out or again), "--answers drafts nothing: leave out --out and --again"),
    )
    opened = open_study(study)
    if templates:
        _templates(opened)
    elif answers:
        _answers(opened, answers)
    else:
        _draft(opened, out or opened.folder / "letters", again=again)


def _templates(study: Study) -> None:
    from sheet_reader.results.letters.wording import OWN_FOLDER, template_texts
    from sheet_reader.results.whole_files import write_together

    there = study.folder / OWN_FOLDER
    new = {
        name: text.encode()
        for name, text in template_texts(study.folder).items()
        if not (there / name).exists()
    }
    for path in write_together(there, new):
        click.echo(str(path))
    if not new:
        click.echo(f"The templates are in {there} already; they are left as they are.")


def _answers(study: Study, paths: tuple[Path, ...]) -> None:
    from sheet_reader.reading.incoming import keep_answers, kept_with

    with open_record(study) as record:
        kept, known, _ = keep_answers(record, paths)
    for places in kept:
        click.echo(kept_with(places))
    click.echo(f"{counted(len(kept), 'new answer')}, {known} known already.")


def _draft(study: Study, folder: Path, *, again: bool) -> None:
    from sheet_reader.cli.progress import progress
    from sheet_reader.record.people.remarks import asked_before
    from sheet_reader.results.contacts import addresses
    from sheet_reader.results.facts import facts_of
    from sheet_reader.results.letters.drafts import drafts, to_say
    from sheet_reader.results.letters.wording import template_texts
    from sheet_reader.results.status.standing import status_of

    words, templates = dict(study.letter_words), template_texts(study.folder)
    with open_record(study) as record:
        facts = facts_of(record)
        status = status_of(study, facts, days.today(study))
        said = to_say(study, facts, status, set() if again else asked_before(record))
        found: list[Letter] = []
        with progress("Drafting") as step:
            for draft in drafts(record, said, words, templates):
                found.append(draft)
                step(len(found), len(said), draft.sites[0])
        _write(record, found, folder)
        waiting = questions_of(record)
        tell_notes(record)
    if waiting:
        click.echo(f"note: {waits(waiting)} No letter asks those")
    reached = addresses(study)
    silent = [site.number for site in study.sites if site.number not in reached]
    if silent:
        click.echo(f"note: no mail address on the site list for site {', '.join(silent)}")
    click.echo(
        f"{counted(len(found), 'draft')} in {folder}; none is sent." if found else "Nothing new."
    )


def _write(record: Record, found: list[Letter], folder: Path) -> None:
    """The drafts on record, and as files under new names, readable by her alone: both or none."""
    from sheet_reader.errors import StorageError
    from sheet_reader.record.people.remarks import note_drafts
    from sheet_reader.results.whole_files import write_together

    files = {}
    for draft in found:
        name = f"{record.study.key}-{draft.sites[0]}-{days.today(record.study):%Y-%m-%d}"
        number, free = 1, f"{name}.eml"
        while (folder / free).exists() or free in files:
            number += 1
            free = f"{name}-{number}.eml"
        files[free] = draft.data
    noted = False

    def note() -> None:
        nonlocal noted
        note_drafts(record, {draft.mark: draft.asked for draft in found})
        noted = True

    try:
        written = write_together(folder, files, before=note)
    except StorageError as error:
        if noted:
            error.remedy = "they are on record as drafted; to get the files: letters --again"
        raise
    for path in written:
        click.echo(str(path))
