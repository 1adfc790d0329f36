"""All exceptions of the package.

::

    SheetReaderError            exit code 1
    ├── StudyError              2   study.toml or the site list has mistakes (all, with paths)
    ├── UsageError              2   the call asks for something that is not there
    │   ├── ClosedError         2   the record was closed before the call
    │   └── UnsaidError         2   words changed, and nobody has said yet what that means
    ├── StorageError            3   a file or folder cannot be read or written
    │   └── UnavailableError   75   a server is out of reach or a record busy: try again later
    └── RecordError             4   the record (database) is damaged or of a newer version

An expected failure of one photograph ("a marker is hidden") is not an exception: it is a value
with a reason (``sheet_reader.vision.findings.NoSheet``, ``sheet_reader.intake.files.NoPicture``).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date, datetime
from os import PathLike
from pathlib import Path


class SheetReaderError(Exception):
    """Base of every error that the package raises on purpose.

    ``what`` says what happened, ``where`` names the file or folder, ``remedy`` what to do.
    """

    exit_code = 1

    def __init__(self, what: str, *, where: str | Path = "", remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = str(where)
        self.remedy = remedy

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        remedy = f" ({self.remedy})" if self.remedy else ""
        return f"{place}{self.what}{remedy}"


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake in a study file: ``path`` is its place in words, e.g. ``the second
    count, “Snails”, boxes`` or ``season.last``.
    """

    path: str
    message: str

    def __str__(self) -> str:
        return f"{self.path}: {self.message}"


class StudyError(SheetReaderError):
    """The study file or site list has mistakes; ``mistakes`` lists every one."""

    exit_code = 2

    def __init__(self, where: str | Path, mistakes: tuple[Mistake, ...]) -> None:
        count = len(mistakes)
        super().__init__(f"{count} mistake{'s' if count != 1 else ''}", where=where)
        self.mistakes = mistakes

    def lines(self) -> tuple[str, ...]:
        """The error for the terminal: a first line, then one line for each mistake."""
        return (f"{self}:", *(f"  {mistake}" for mistake in self.mistakes))


class UsageError(SheetReaderError):
    """The call asks for something that does not exist (a site, a folder, a sheet)."""

    exit_code = 2


class ClosedError(UsageError):
    """The record was closed before the call."""


class OvertakenError(UsageError):
    """Somebody else has answered a question first."""


class UnsaidError(UsageError):
    """Values came in under other words than those that their names stand for now."""


class StorageError(SheetReaderError):
    """A file or folder cannot be read or written."""

    exit_code = 3


class UnavailableError(StorageError):
    """What is needed is out of reach or in use now; nothing is lost, and the same call may work
    later. The exit code is EX_TEMPFAIL of BSD sysexits.h.
    """

    exit_code = 75


class RecordError(SheetReaderError):
    """The record is damaged, or written by a newer version."""

    exit_code = 4


def must_be(value: object, kinds: type | tuple[type, ...], what: str) -> None:
    """Raises UsageError where ``value`` is none of ``kinds``, or a truth value where a number is
    meant; ``what`` says what should stand there.
    """
    if not isinstance(value, kinds) or (isinstance(value, bool) and kinds is int):
        raise UsageError(f"{what} is meant, not {type(value).__name__}")


def must_be_day(value: object) -> None:
    """Raises UsageError where ``value`` is neither None nor a day without a time."""
    if value is not None and (not isinstance(value, date) or isinstance(value, datetime)):
        raise UsageError(f"a day of the type date is meant, not {type(value).__name__}")


def path_from(value: object, what: str) -> Path:
    """A path given as text or path object; raises UsageError for anything else."""
    must_be(value, (str, PathLike), f"{what} as text or a path")
    text = os.fspath(value)  # type: ignore[call-overload]
    if not isinstance(text, str) or "\0" in text:
        raise UsageError(f"{what} as text or a path is meant, not {text!r:.60}")
    return Path(text)


def install_extra(name: str) -> str:
    """What to do where the packages of an extra are missing."""
    return f"install the extra {name}: pip install '.[{name}]' in your copy of the program"


def installation_error(what: str) -> SheetReaderError:
    """The error for a program that can't do its work as it is installed."""
    return SheetReaderError(
        what, remedy="install the program anew; if that does not help, please report this line"
    )
