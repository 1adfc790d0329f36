"""Arguments and small phrases that several commands share."""

from __future__ import annotations

import getpass
import os
import shlex
import shutil
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from sheet_reader.atomic import TEMPORARY
from sheet_reader.cli.terminal import clean_name
from sheet_reader.errors import UsageError
from sheet_reader.study.days import example, parse_date
from sheet_reader.wording import counted as counted
from sheet_reader.wording import some_of as some_of

if TYPE_CHECKING:
    from sheet_reader.study.study import Study

Command = TypeVar("Command", bound=Callable[..., Any])


def study_argument(command: Command) -> Command:
    """Add the STUDY argument: the study's folder, or the study.toml in it."""
    return click.argument("study", type=click.Path(path_type=Path), metavar="STUDY")(command)


def refuse(*cases: tuple[object, str]) -> None:
    """Raises click.UsageError with the sentence of the first case that holds: of options that don't
    go together, none is left out in silence.
    """
    for holds, sentence in cases:
        if holds:
            raise click.UsageError(sentence)


def open_study(path: Path) -> Study:
    """Read and check the study at ``path``; show its warnings on stderr.

    Raises StudyError with every mistake, UsageError where there is no study.
    """
    from sheet_reader.study.reader import loose, read_study

    if not path.exists():
        raise UsageError(
            "there is no such study", where=path, remedy="name a folder that holds a study.toml"
        )
    if path.is_file() and path.suffix.lower() != ".toml":
        context = click.get_current_context(silent=True)
        command = context.info_name if context is not None else "read"
        photo = f" {shlex.quote(str(path))}" if command == "read" else ""
        raise UsageError(
            "this is a file, where the study is meant: a folder that holds a study.toml",
            where=path,
            remedy=f"type: sheet-reader {command} STUDY{photo}, with that folder for STUDY",
        )
    study = read_study(path)
    if remark := loose(study.allowed_error):
        say(f"note: {remark}", err=True)
    return study


def must_be_free(folder: Path) -> None:
    """Raises UsageError where a folder to be made is there already and holds something."""
    if folder.exists() and not folder.is_dir():
        raise UsageError("this is a file", where=folder, remedy="name a folder that is new")
    if folder.is_dir() and any(not p.name.startswith(TEMPORARY) for p in folder.iterdir()):
        what = "a study already" if (folder / "study.toml").exists() else "something else"
        raise UsageError(
            f"this folder holds {what}", where=folder, remedy="name a folder that is new or empty"
        )


def person(name: str | None) -> str:
    """The name that answers are kept under: as given, else the login name."""
    if name and (cleaned := clean_name(name)):
        return cleaned
    try:
        return clean_name(getpass.getuser()) or "unnamed"
    except (OSError, KeyError, ImportError):
        return "unnamed"


def hint(command: str, folder: Path) -> str:
    """The line to type for ``command`` on the study in ``folder``, safe to copy into a shell."""
    return f"{_program()} {command} {shlex.quote(str(folder))}"


def _program() -> str:
    """What starts this program in the shell it was started from: its name where that is on the
    path, else its path.
    """
    name, own = "sheet-reader", Path(sys.argv[0])
    found = shutil.which(name)
    if own.stem != name or not own.is_file() or (found and own.samefile(found)):
        return name
    near = os.path.relpath(own)
    return shlex.quote(near if not near.startswith(os.pardir) else str(own.absolute()))


def waits(questions: int) -> str:
    """How many questions wait, said the same way everywhere.

    >>> waits(1), waits(0)
    ('1 question waits for you.', 'Nothing waits for you.')
    """
    if questions == 0:
        return "Nothing waits for you."
    return f"{counted(questions, 'question')} {'waits' if questions == 1 else 'wait'} for you."


def say(text: str, *, err: bool = False) -> None:
    """Print a line, in a terminal wrapped at words."""
    stream = sys.stderr if err else sys.stdout
    if stream.isatty():
        width = shutil.get_terminal_size().columns
        text = textwrap.fill(
            text, width, break_long_words=False, break_on_hyphens=False, subsequent_indent="  "
        )
    click.echo(text, err=err)


def parse_visit(text: str, study: Study) -> str:
    """A date as typed for ``--visit``, in ISO 8601; raises click.BadParameter."""
    day = parse_date(text.strip(), study)
    if day is None:
        raise click.BadParameter(
            f"{text!r} is not a date; write it as 2026-05-20, or as on the sheet: {example(study)}"
        )
    return day.isoformat()
