"""``sheet-reader names``: what the names of study.toml mean, where that changed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, hint, open_study, person, say, study_argument
from sheet_reader.cli.terminal import answer_to, somebody_answers
from sheet_reader.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from sheet_reader.record.history.meaning import MeaningQuestion, Term
    from sheet_reader.record.history.meaning_answers import Said
    from sheet_reader.record.store.store import Record

MOST_SHOWN = 12


@click.command(short_help="Say what changed names and words mean.")
@study_argument
@click.option("--same", nargs=2, multiple=True, metavar="FORMER PRESENT",
              help="What was called FORMER is PRESENT now; twice the same name: only its words "
              "changed.")  # fmt: skip
@click.option("--all-same", is_flag=True, help="All that kept its name is the same as before.")
@click.option("--different", multiple=True, metavar="FORMER",
              help="What was called so is nothing that study.toml has now.")  # fmt: skip
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
        elif somebody_answers():
            ask_what_blocks(record, name)
            ask_of_gone(record, person(name))
        for line in _standing(record):
            click.echo(line)


def _said(
    record: Record, same: tuple[tuple[str, str], ...], different: tuple[str, ...], *, all_same: bool
) -> list[Said]:
    """The answers that the options give to what is open."""
    asked = _open_in(record)
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
            (q.former, q.candidates[0], False) if q.blocks else _nothing_there(q.former)
            for q in asked
            if q.former.name == former
        ]
        said += found or _not_open(record, former)
    return said


def _not_open(record: Record, former: str) -> list[Said]:
    asked = ", ".join(dict.fromkeys(q.former.name for q in _open_in(record))) or "nothing"
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


def _open_in(record: Record) -> list[MeaningQuestion]:
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
        for q in _open_in(record)
        for now in [q.candidates[-1 if q.moved else 0]]
    ]


def _new(question: MeaningQuestion) -> str:
    *first, last = (term.name for term in question.candidates)
    return f", and {', '.join(first) + ' or ' + last if first else last} is new"


def ask_what_blocks(record: Record, by: str | None = None) -> None:
    """Ask on the terminal what changed words mean, until no value can be mistaken. Raises
    UnsaidError where that is not said.
    """
    while asked := [q for q in _open_in(record) if q.blocks]:
        moved = [q for q in asked if q.moved and q.former.kind == asked[0].former.kind]
        _keep(record, _ask_moved(moved) if moved else _ask_of_words(asked), by)


def ask_of_gone(record: Record, by: str) -> None:
    """Ask about names that are gone while others are new; Enter leaves a question for later."""
    for question in _open_in(record):
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
            _keep(record, [_nothing_there(question.former)], by)


def _nothing_there(former: Term) -> Said:
    """That nothing which the study has now is ``former``."""
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


def _ask_of_words(asked: Sequence[MeaningQuestion]) -> list[Said]:
    """Of several all together first, then the first by itself."""
    if len(asked) > 1:
        many = counted(len(asked), "thing")
        click.echo(f"{many} that sheets were read of are called otherwise now:")
        _show(asked)
        answer = _key(
            "All of them the same in better words? y all, n none, o one by one, s stop: ",
            ("y", "n", "o", "s"),
        )
        if answer != "o":
            return _same_name(asked, answer)
    _show(asked[:1])
    answer = _key("The same in better words? y yes, n another thing, s stop: ", ("y", "n", "s"))
    return _same_name(asked[:1], answer)


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
