"""``sheet-reader names``: which names of study.toml mean what an earlier one meant."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import open_study, refuse, study_argument
from sheet_reader.cli.name_questions import name_notes, questions
from sheet_reader.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sheet_reader.record.same_names import NameQuestion
    from sheet_reader.record.store import Record


@click.command(short_help="Say which counts were renamed.")
@study_argument
@click.option("--same", nargs=2, metavar="FORMER PRESENT", help="These two are the same thing.")
@click.option("--different", metavar="FORMER", help="This one is nothing that study.toml has now.")
@click.option("--undo", metavar="FORMER", help="Take back what was said about this one.")
@click.option("--as", "name", metavar="NAME", help="Who says so; the login name if left out.")
def names(
    study: Path, same: tuple[str, str] | None, different: str | None, undo: str | None,
    name: str | None,
) -> None:  # fmt: skip
    """Say which counts, plots or numbers of STUDY only changed their names.

    Names hold columns together: after a change of one in study.toml, what was read before stands
    under the old name, and rows.csv leaves it out. Once you say that both are the same thing, it
    stands under the new one; nothing is read or written anew, and you can take it back. Without
    options, lists what was said and what is open. review asks by itself.

    Example:  sheet-reader names bean_tips --same aphids blackfly
    """
    from sheet_reader.cli.review import person
    from sheet_reader.reading.opening import open_record
    from sheet_reader.record import same_names

    said = sum(map(bool, (same, different, undo)))
    refuse(
        (said > 1, "choose one of --same, --different and --undo"),
        (name and not said, "--as goes with --same, --different or --undo"),
    )
    opened = open_study(study)
    with open_record(opened) as record:
        if same or different:
            former, present = same or (different or "", None)
            question = _question(record, former, present)
            with record.writing() as connection:
                same_names.add_answer(
                    connection, opened, question.kind, former, present, person(name)
                )
        elif undo:
            with record.writing() as connection:
                if not same_names.take_back(connection, opened, undo, person(name)):
                    raise UsageError(f"nothing was said about the name {undo}")
        for line in _standing(record):
            click.echo(line)


def _question(record: Record, former: str, present: str | None) -> NameQuestion:
    open_ = questions(record)
    fits = [
        q for q in open_ if q.former == former and (present is None or present in q.candidates)
    ]
    if fits:
        return fits[0]
    asked = ", ".join(q.former for q in open_) or "no name"
    raise UsageError(
        f"that is not open: {former} did not leave study.toml"
        + (f" where {present} is new" if present else ""),
        remedy=f"to be said of: {asked}",
    )


def _standing(record: Record) -> Iterable[str]:
    from sheet_reader.record import same_names

    with record.reading() as connection:
        said = same_names.load_names(connection, record.study)
    for a in said.answers:
        kind = same_names.KINDS[a.kind]
        now = f"is {a.present} now" if a.present else "is nothing that study.toml has now"
        yield f"{kind} {a.former} {now} (said by {a.by}, {a.at[:10]})"
    yield from name_notes(record)
    if not said.answers and not questions(record):
        yield "No name has changed."
