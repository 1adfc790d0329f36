"""What is to be asked about names of fields that changed, and how it is asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import hint

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sheet_reader.record.same_names import NameQuestion
    from sheet_reader.record.store import Record


def questions(record: Record) -> list[NameQuestion]:
    """What is to be asked about names now."""
    from sheet_reader.record import same_names
    from sheet_reader.sheet.kept_layouts import kept_layouts

    study = record.study
    with record.reading() as connection:
        said = same_names.load_names(connection, study)
    fields = {field.reading.field for visit in record.state() for field in visit.fields}
    return same_names.open_questions(study, kept_layouts(study).studies, sorted(fields), said)


def name_notes(record: Record) -> list[str]:
    """A line for each name about which something is to be said."""
    from sheet_reader.record.same_names import KINDS

    return [
        f"study.toml has no {KINDS[q.kind]} {q.former} any more, and {_or(q.candidates)} is new: "
        f"the same thing? To say so:  {hint('names', record.folder)} --same {q.former} "
        f"{q.candidates[0]}"
        for q in questions(record)
    ]


def ask(record: Record, by: str) -> None:
    """Ask about changed names on the terminal; Enter leaves a question for later."""
    from sheet_reader.cli.terminal import typed_line
    from sheet_reader.record import same_names

    for question in questions(record):
        kind, no = same_names.KINDS[question.kind], 0
        for candidate in question.candidates:
            click.echo(
                f"The {kind} “{question.former}” is not in study.toml now, “{candidate}” is new. "
                "The same thing? y or n, Enter for later: ",
                nl=False,
            )
            try:
                answer = typed_line().strip().lower()
            except EOFError:
                click.echo()
                return
            if answer == "n":
                no += 1
                continue
            if answer == "y":
                with record.writing() as connection:
                    same_names.add_answer(
                        connection, record.study, question.kind, question.former, candidate, by
                    )
                back = f"{hint('names', record.folder)} --undo {question.former}"
                click.echo(f"Kept; to take it back:  {back}")
            break
        if no == len(question.candidates):
            with record.writing() as connection:
                same_names.add_answer(
                    connection, record.study, question.kind, question.former, None, by
                )


def _or(names: Iterable[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} or {last}" if first else last
