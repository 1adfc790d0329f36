"""``sheet-reader names``: what the names of study.toml mean, where that changed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli import terminal
from sheet_reader.cli.common import open_study, person, study_argument
from sheet_reader.cli.meaning_questions import (
    ask_of_gone,
    ask_what_blocks,
    meaning_notes,
    nothing_there,
    questions,
)
from sheet_reader.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sheet_reader.record.history.meaning_answers import Said
    from sheet_reader.record.store.store import Record


@click.command(short_help="Say what changed names and words mean.")
@study_argument
@click.option(
    "--same", nargs=2, multiple=True, metavar="FORMER PRESENT",
    help="What was called FORMER is PRESENT now; twice the same name: only its words changed.",
)
@click.option("--all-same", is_flag=True, help="All that kept its name is the same as before.")
@click.option(
    "--different", multiple=True, metavar="FORMER",
    help="What was called so is nothing that study.toml has now.",
)
@click.option("--undo", multiple=True, metavar="FORMER", help="Take back what was said about it.")
@click.option("--as", "name", metavar="NAME", help="Who says so; the login name if left out.")
def names(
    study: Path, same: tuple[tuple[str, str], ...], all_same: bool, different: tuple[str, ...],
    undo: tuple[str, ...], name: str | None,
) -> None:  # fmt: skip
    """Say which plots, counts, numbers, sums and sites of STUDY are what they were.

    A value means what stood on its sheet: label, unit, treatment, parts of a sum, the label of its
    site. Where a name of study.toml or a number of the site list stands for other words now, say
    whether it is the same in better words or another thing; until then no command shows or writes
    values. What is another thing stands apart from then on: rows.csv leaves it out, readings.csv
    has it under its name and words. A count whose name is gone is put under its new name in the
    same way. Nothing is read or written anew, and all can be taken back. Without options, lists
    what was said and asks what is open.

    Example:  sheet-reader names bean_tips --same aphids blackfly
    """
    from sheet_reader.reading.opening import open_record
    from sheet_reader.record.history.meaning_answers import add_answers, take_back

    opened = open_study(study)
    with open_record(opened, of_any_study=True) as record:
        said = _said(record, same, different, all_same=all_same)
        if said or undo:
            with record.writing() as connection:
                for former in undo:
                    if not take_back(connection, opened, former, person(name)):
                        raise UsageError(f"nothing was said about the name {former}")
                add_answers(connection, opened, said, person(name))
        elif terminal.somebody_answers():
            ask_what_blocks(record, name)
            ask_of_gone(record, person(name))
        for line in _standing(record):
            click.echo(line)


def _said(
    record: Record, same: tuple[tuple[str, str], ...], different: tuple[str, ...], *, all_same: bool
) -> list[Said]:
    """The answers that the options give to what is open."""
    asked = questions(record)
    said = [(q.former, q.candidates[0], True) for q in asked if all_same and q.blocks]
    for former, present in same:
        found = [
            (q.former, now, True)
            for q in asked
            for now in q.candidates
            if (q.former.name, now.name) == (former, present)
        ]
        said += found or _not_open(record, former)
    for former in different:
        found = [
            (q.former, q.candidates[0], False) if q.blocks else nothing_there(q.former)
            for q in asked
            if q.former.name == former
        ]
        said += found or _not_open(record, former)
    return said


def _not_open(record: Record, former: str) -> list[Said]:
    asked = ", ".join(dict.fromkeys(q.former.name for q in questions(record))) or "nothing"
    raise UsageError(
        f"that is not open: {former} means what it meant, or nothing new can be the same",
        remedy=f"to be said of: {asked}",
    )


def _standing(record: Record) -> Iterator[str]:
    from sheet_reader.record.history.meaning_answers import load_meanings

    with record.reading() as connection:
        answers = load_meanings(connection, record.study).answers
    for a in answers:
        now = f"{a.present.name} (“{a.present.said}”)" if a.present.said else "there any more"
        is_ = "is" if a.same else "is not"
        yield (
            f"{a.former.kind} {a.former.name} (“{a.former.said}”) {is_} {now} "
            f"(said by {a.by}, {a.at[:10]})"
        )
    notes = meaning_notes(record)
    yield from notes
    if not answers and not notes:
        yield "No name has changed."
