"""What is to be said about words that changed, and how it is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, hint, person, say
from sheet_reader.cli.terminal import answer_to

if TYPE_CHECKING:
    from sheet_reader.record.history.meaning import MeaningQuestion
    from sheet_reader.record.history.meaning_answers import Said
    from sheet_reader.record.store.store import Record

MOST_SHOWN = 12


def questions(record: Record) -> list[MeaningQuestion]:
    """What is to be said about words now."""
    from sheet_reader.record.history.meaning_answers import open_questions

    with record.reading() as connection:
        return open_questions(connection, record.study)


def meaning_notes(record: Record) -> list[str]:
    """A line for each thing about which something is to be said."""
    from sheet_reader.record.history.meaning import told

    return [
        f"{told(q)}{'' if q.blocks else _new(q)}: the same thing? To say so:  "
        f"{hint('names', record.folder)} --same {q.former.name} {now.name}"
        for q in questions(record)
        for now in [q.candidates[-1 if q.moved else 0]]
    ]


def _new(question: MeaningQuestion) -> str:
    *first, last = (term.name for term in question.candidates)
    return f", and {', '.join(first) + ' or ' + last if first else last} is new"


def ask_what_blocks(record: Record, by: str | None = None) -> None:
    """Ask on the terminal what changed words mean, until no value can be mistaken. Raises
    UnsaidError where that is not said.
    """
    while asked := [q for q in questions(record) if q.blocks]:
        moved = [q for q in asked if q.moved and q.former.kind == asked[0].former.kind]
        if moved:
            said = _ask_moved(moved)
        elif len(asked) > 1:
            said = _ask_together(asked)
        else:
            said = _ask_one(asked[0])
        _keep(record, said, by)


def ask_of_gone(record: Record, by: str) -> None:
    """Ask about names that are gone while others are new; Enter leaves a question for later."""
    for question in questions(record):
        for candidate in question.candidates:
            was, now = question.former, candidate
            answer = _key(
                f"The {was.kind} {was.name} (“{was.said}”) is not in study.toml now, {now.name} "
                f"(“{now.said}”) is new. The same thing? y or n, Enter for later: ",
                ("y", "n", ""),
            )
            if answer != "n":
                break
        if answer == "y":
            _keep(record, [(question.former, candidate, True)], by)
        elif answer == "n":
            _keep(record, [nothing_there(question.former)], by)


def nothing_there(former: object) -> Said:
    """That nothing which the study has now is ``former``."""
    from sheet_reader.record.history.meaning import Term

    assert isinstance(former, Term)
    return former, replace(former, said=""), False


def _ask_moved(asked: Sequence[MeaningQuestion]) -> list[Said]:
    click.echo("Names stand for other things now than on the sheets that were read:")
    _show(asked)
    one, to = asked[0].former, asked[0].candidates[-1]
    say(f"n  names were changed: what was counted as “{one.said}” stands under {to.name} now")
    say(f"w  only words were wrong: what was counted as {one.name} stays under {one.name}")
    say("d  neither, they are different things: what was counted before stays apart")
    say("s  stop, and change nothing")
    answer = _key("n, w, d or s: ", ("n", "w", "d", "s"))
    if answer == "n":
        return [(q.former, q.candidates[-1], True) for q in asked]
    return _same_name(asked, {"w": "y", "d": "n"}.get(answer, "s"))


def _ask_together(asked: Sequence[MeaningQuestion]) -> list[Said]:
    click.echo(f"{counted(len(asked), 'thing')} that sheets were read of are called otherwise now:")
    _show(asked)
    answer = _key(
        "All of them the same in better words? y all, n none, o one by one, s stop: ",
        ("y", "n", "o", "s"),
    )
    return _ask_one(asked[0]) if answer == "o" else _same_name(asked, answer)


def _ask_one(question: MeaningQuestion) -> list[Said]:
    _show([question])
    answer = _key("The same in better words? y yes, n another thing, s stop: ", ("y", "n", "s"))
    return _same_name([question], answer)


def _same_name(asked: Sequence[MeaningQuestion], answer: str) -> list[Said]:
    return [] if answer == "s" else [(q.former, q.candidates[0], answer == "y") for q in asked]


def _show(asked: Sequence[MeaningQuestion]) -> None:
    for question in asked[:MOST_SHOWN]:
        former, now = question.former, question.candidates[0]
        click.echo(f"  {former.kind} {former.name}")
        click.echo(f"    on the sheets:  “{former.said}”")
        click.echo(f"    now:            “{now.said}”")
    if len(asked) > MOST_SHOWN:
        click.echo(f"  … and {len(asked) - MOST_SHOWN} more")


def _key(question: str, keys: Sequence[str]) -> str:
    """One of ``keys`` as typed; at the end of the input the last one."""
    while (answer := answer_to(question)) is not None:
        if answer.lower() in keys:
            return answer.lower()
    return keys[-1]


def _keep(record: Record, said: Sequence[Said], by: str | None) -> None:
    """Keep what was said; with nothing said, raises UnsaidError where that must not be."""
    from sheet_reader.record.history.meaning_answers import add_answers, must_be_said

    if not said:
        with record.reading() as connection:
            must_be_said(connection, record.study)
        return
    with record.writing() as connection:
        add_answers(connection, record.study, said, person(by))
    names = dict.fromkeys(former.name for former, _, _ in said)
    undo = f"{hint('names', record.folder)} --undo {next(iter(names))}"
    say(f"Kept; to take it back:  {undo}" + (" (and so on)" if len(names) > 1 else ""))
