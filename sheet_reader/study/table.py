"""Checked access to the tables of a study file: every mistake is noted, none stops the reading."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from types import UnionType
from typing import Any

from sheet_reader.errors import Mistake, UsageError

_MISSING = "is missing"
_ORDINALS = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
)  # fmt: skip
_ONE_OF = {"header": "header field", "plots": "plot", "counts": "count", "sums": "sum"}
"""What one table of a list is called."""
AT_THE_TOP = (
    "key", "title", "paper", "sites", "allowed_error", "instructions", "send_to", "own_digits",
    "date_order", "time_zone",
)  # fmt: skip
"""The settings that stand before the first table."""
IDENTIFIER = re.compile(r"[a-z][a-z0-9_]{0,31}\Z")


def shown(value: object, longest: int = 40) -> str:
    """A value as it may stand in a message: printable, in quotes if text, cut to ``longest``."""
    text = value if isinstance(value, str) else repr(value)
    clean = "".join(
        c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text[: longest + 1]
    )
    if len(text) > longest:
        clean = clean[:longest] + "…"
    return f"“{clean}”" if isinstance(value, str) else clean


def ordinal(number: int) -> str:
    """1 as “first”, 2 as “second” and so on; from the eleventh in figures."""
    if number <= len(_ORDINALS):
        return _ORDINALS[number - 1]
    last = 0 if number % 100 in (11, 12, 13) else number % 10
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(last, 'th') }"


def printable_line(what: str, text: str, longest: int) -> str:
    """``text`` without needless blanks; raises UsageError where it is no clean line of text."""
    clean = " ".join(text.split())
    if fault := line_fault(clean, longest):
        raise UsageError(f"{what} {fault}")
    return clean


def line_fault(text: str, longest: int, *, required: bool = True) -> str:
    """Why ``text`` is no line of 1 to ``longest`` signs that can be printed (0, where it is not
    ``required``), or "".
    """
    if len(text) > longest:
        return f"is {len(text)} characters long; the most is {longest}"
    if not text.isprintable():
        return "must be one line without control characters"
    return "must not be empty" if required and not text.strip() else ""


def nearest(word: str, known: Iterable[str]) -> str:
    """“ – did you mean …?” for the known word closest to ``word``, or nothing."""
    close = difflib.get_close_matches(word[:64], list(known), n=1, cutoff=0.6)
    return f" – did you mean “{close[0]}”?" if close else ""


class Mistakes:
    """The growing list of mistakes in a study file with this ``text``."""

    def __init__(self, text: bytes = b"") -> None:
        self.found: list[Mistake] = []
        self._lines = text.splitlines()

    def line(self, start: str) -> str:
        """`` (line 12)`` where one line alone begins so, else nothing."""
        here = re.compile(rf"\s*{re.escape(start)}(?![A-Za-z0-9_-])".encode())
        found = [number for number, line in enumerate(self._lines, 1) if here.match(line)]
        return f" (line {found[0]})" if len(found) == 1 else ""

    def add(self, path: str, message: str) -> None:
        """Note one mistake at ``path``."""
        self.found.append(Mistake(path, message))


class TomlTable:
    """One table of the file: typed getters that note mistakes under the table's path.

    Each getter returns its fallback after noting a mistake, so that reading goes on.
    """

    def __init__(
        self, values: Mapping[str, Any], path: str, mistakes: Mistakes, *, in_list: bool = False
    ) -> None:
        self._values = values
        self._path = path
        self._mistakes = mistakes
        self._in_list = in_list
        self._meant: set[str] = set()

    def place(self, key: str = "") -> str:
        """Where ``key`` stands, in words: “the second count, “Aphids”, highest”, “season.last”."""
        if not key:
            return self._path or "study.toml"
        if not self._path:
            return key
        return f"{self._path}, {key}" if self._in_list else f"{self._path}.{key}"

    def wrong(self, key: str, message: str) -> None:
        """Note a mistake at ``key``."""
        self._mistakes.add(self.place(key), message)

    def has(self, key: str) -> bool:
        """Whether the key is in the file."""
        return key in self._values

    def is_text(self, key: str) -> bool:
        """Whether a text stands at the key."""
        return isinstance(self._values.get(key), str)

    def meant(self, key: str) -> bool:
        """Whether the key is in the file, if only under a name that is like it."""
        return self.has(key) or key in self._meant

    def only(self, known: Iterable[str]) -> None:
        """Note every key that is not among ``known``. A known key that is meant by one of these is
        not missing.
        """
        names = tuple(known)
        free = [name for name in names if name not in self._values]
        for key in self._values:
            if key not in names:
                self._meant.update(difflib.get_close_matches(key[:64], free, n=1, cutoff=0.6))
                name = key if key.isprintable() and len(key) <= 40 else shown(key)
                why = f"unknown key{nearest(key, names)}"
                if self._path and key in AT_THE_TOP:
                    why = "stands before the first line in brackets, at the top of the file"
                self._mistakes.add(self.place(name), why + self._mistakes.line(key))
        for key in self._meant:
            self._mistakes.found = [
                one for one in self._mistakes.found if one != Mistake(self.place(key), _MISSING)
            ]

    def _get(self, key: str, kind: type | UnionType, must: str, *, required: bool) -> Any:
        """The value of this kind at the key; None, with a mistake that says what it must be, for
        another one, and where it lacks.
        """
        value = self._values.get(key)
        if value is None:
            if required and key not in self._meant:
                self.wrong(key, _MISSING)
        elif not isinstance(value, kind) or type(value) in {bool, datetime} - {kind}:
            self.wrong(key, must.replace("…", shown(value)))
            return None
        return value

    def text(self, key: str, *, longest: int, required: bool = True, fallback: str = "") -> str:
        """One line of text of 1 to ``longest`` characters (empty is allowed where optional)."""
        value = self._get(key, str, "must be text in quotes, not …", required=required)
        return fallback if value is None else self.line(key, value, longest, required) or fallback

    def line(self, key: str, value: str, longest: int, required: bool = True) -> str:
        """``value`` if it is a clean line of text, else "" and a mistake at ``key``."""
        if fault := line_fault(value, longest, required=required):
            self.wrong(key, fault)
            return ""
        return " ".join(value.split())

    def name(self, key: str = "name") -> str:
        """An identifier: a lower case letter, then letters, digits and underscores."""
        value = self.text(key, longest=200)
        if value and not IDENTIFIER.match(value):
            self.wrong(
                key,
                f"{shown(value)} must start with a lower case letter and go on in lower case "
                "letters, digits and underscores (at most 32)",
            )
            return ""
        return value

    def choice(self, key: str, choices: tuple[str, ...]) -> str:
        """One of ``choices``."""
        value = self.text(key, longest=200)
        if value and value not in choices:
            listed = ", ".join(f"“{c}”" for c in choices)
            self.wrong(key, f"{shown(value)} must be one of {listed}{nearest(value, choices)}")
            return ""
        return value

    def whole(
        self, key: str, low: int, high: int, *, required: bool = True, fallback: int | None = None
    ) -> int | None:
        """A whole number from ``low`` to ``high``."""
        value = self._get(key, int, "must be a whole number, not …", required=required)
        if value is not None and not low <= value <= high:
            number = value if abs(value) < 10**12 else "this number"
            self.wrong(key, f"must lie from {low} to {high}, not {number}")
            return fallback
        return fallback if value is None else int(value)

    def number(self, key: str, low: float, high: float, *, fallback: float) -> float:
        """A number from ``low`` to ``high``, both included; ``fallback`` where it is not given."""
        value = self._get(key, int | float, "must be a number, not …", required=False)
        if value is not None and not low <= value <= high:
            self.wrong(key, f"must lie from {low:g} to {high:g}, not {shown(value)}")
            return fallback
        return fallback if value is None else float(value)

    def flag(self, key: str) -> bool | None:
        """``true`` or ``false``; None where it is not given."""
        must = "must be true or false without quotes, not …"
        found: bool | None = self._get(key, bool, must, required=False)
        return found

    def day(self, key: str) -> date | None:
        """A calendar day, written without quotes as 2026-04-20."""
        must = "must be a day such as 2026-04-20 without quotes, not …"
        found: date | None = self._get(key, date, must, required=True)
        return found

    def texts(self, key: str, *, longest: int, most: int, required: bool) -> tuple[str, ...]:
        """A list of at most ``most`` lines of text."""
        must = "must be a list of texts in square brackets"
        value = self._get(key, list, must, required=required)
        if value is None:
            return ()
        if len(value) > most:
            self.wrong(key, f"has {len(value)} entries; the most is {most}")
            return ()
        lines = []
        for i, entry in enumerate(value):
            if isinstance(entry, str):
                lines.append(self.line(entry_place(key, i), entry, longest))
            else:
                self.wrong(entry_place(key, i), f"must be text in quotes, not {shown(entry)}")
        return tuple(line for line in lines if line)

    def table(self, key: str, *, required: bool) -> TomlTable | None:
        """The table ``[key]``."""
        must = f"must be a table, written [{key}]{self._mistakes.line(f'[[{key}]]')}"
        value = self._get(key, dict, must, required=required)
        return None if value is None else TomlTable(value, self.place(key), self._mistakes)

    def tables(self, key: str, *, most: int, required: bool) -> tuple[TomlTable, ...]:
        """The tables ``[[key]]``, in order."""
        line = self._mistakes.line(f"[{key}]")
        must = f"must be a list of tables, each written [[{key}]]{line}"
        value = self._get(key, list, must, required=required)
        if value is None:
            return ()
        if not all(isinstance(v, dict) for v in value):
            self.wrong(key, must)
            return ()
        if not value and required:
            self.wrong(key, "must hold at least one entry")
        if len(value) > most:
            self.wrong(key, f"has {len(value)} entries; the most is {most}")
            return ()
        return tuple(
            TomlTable(v, list_place(key, i, v.get("label")), self._mistakes, in_list=True)
            for i, v in enumerate(value)
        )


def entry_place(key: str, index: int) -> str:
    """Where entry ``index`` (from 0) of a list stands, counted from 1 as people count."""
    return f"{key}, entry {index + 1}"


def list_place(key: str, index: int, label: object) -> str:
    """One table of a list as a person would name it: its number and, if it has one, its label."""
    place = f"the {ordinal(index + 1)} {_ONE_OF.get(key, key)}"
    known = isinstance(label, str) and label.strip()
    return f"{place}, {shown(label)}" if known else place
