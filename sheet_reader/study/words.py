"""Every fixed word that volunteers see, on sheets, in letters and in updates: English unless
``study.toml`` says else.

``words = "de"`` takes a complete set that ships with the package (``languages``); a table
``[words]`` sets single words, on top of the ``language`` it may name, ``[words.letters]`` and
``[words.update]`` those of letters and updates. What is in braces (``{page}``) is put in by the
program. Where a number decides, texts of updates are parted by ``|``: for one, for any other number
and, where a third stands, for none. Messages to the coordinator are not here; they stay English.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from sheet_reader.study.table import TomlTable, shown

Part = Literal["letters", "update"]
"""Of a set of words, beside that of the sheets."""
PARTS: tuple[Part, Part] = ("letters", "update")
LONGEST, LONGEST_TEXT = 160, 600
"""Characters of a word on the sheet, and of one in a letter or update."""
_FOLDER = "languages"


@dataclass(frozen=True, slots=True)
class SheetWords:
    """The words on sheets by key. ``months`` are twelve short names."""

    usage: str
    usage_pages: str
    page: str
    day: str
    month: str
    year: str
    visit: str
    months: tuple[str, ...]
    counted_by: str
    counted_by_hint: str
    tally: str
    continued: str
    write_like_this: str
    own_digits: str
    write_zero: str
    one_each: str
    wrong_digit: str
    no_free_box: str
    read_as: str
    comments: str
    photograph: str
    send_to: str
    site_number: str
    visit_date: str
    plot: str
    print_check: str
    no_sheet: str
    check_print: str
    check_scales: str
    check_seen: str
    boxes: str
    hairline: str
    frame: str
    rule: str
    smallest_print: str
    instruction_print: str
    label_print: str

    @property
    def are_english(self) -> bool:
        """Whether dates are named in English, whatever the rest is."""
        return (self.day, self.month) == (ENGLISH.day, ENGLISH.month)


KEYS = tuple(field.name for field in fields(SheetWords))


@cache
def languages() -> tuple[str, ...]:
    """The languages that ship complete, by code; English first."""
    shipped = (entry.name for entry in files(__package__).joinpath(_FOLDER).iterdir())
    codes = {name.removesuffix(".toml") for name in shipped if name.endswith(".toml")}
    return ("en", *sorted(codes - {"en"}))


def shipped_table(language: str) -> dict[str, Any]:
    """What the file of one of :func:`languages` says."""
    text = files(__package__).joinpath(_FOLDER, f"{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def shipped_words(language: str) -> SheetWords:
    """The words on sheets in one of :func:`languages`."""
    table = {key: word for key, word in shipped_table(language).items() if key not in PARTS}
    return SheetWords(**{**table, "months": tuple(table["months"])})


@cache
def shipped_texts(part: Part, language: str) -> Mapping[str, str]:
    """The words of letters or updates in one of :func:`languages`, by key."""
    return {"language": language, **shipped_table(language)[part]}


ENGLISH = shipped_words("en")
ENGLISH_LETTERS, ENGLISH_UPDATE = (shipped_texts(part, "en") for part in PARTS)


def placeholders(text: str) -> frozenset[str]:
    """The names in braces; raises ValueError where braces do not match."""
    parts = list(string.Formatter().parse(text))
    return frozenset(name for _, name, _, _ in parts if name is not None)


def read_words(top: TomlTable) -> tuple[SheetWords, Mapping[str, str], Mapping[str, str]]:
    """The words of a study's sheets, letters and updates: those of its language, English where it
    names none, with its own in their place.
    """
    table, language = None, "en"
    if top.is_text("words"):
        language = _language(top, "words")
    elif (table := top.table("words", required=False)) is not None:
        table.only(("language", *PARTS, *KEYS))
        language = _language(table, "language") if table.has("language") else "en"
    sheet = shipped_words(language)
    letters, update = (dict(shipped_texts(part, language)) for part in PARTS)
    if table is not None:
        own: dict[str, Any] = {key: _own_word(table, key) for key in KEYS if table.has(key)}
        sheet = replace(sheet, **{key: word for key, word in own.items() if word})
        letters |= _own_texts(table, "letters")
        update |= _own_texts(table, "update")
    return sheet, letters, update


def _language(table: TomlTable, key: str) -> str:
    language = table.text(key, longest=40)
    if language and language not in languages():
        listed = ", ".join(f"“{name}”" for name in languages())
        table.wrong(
            key,
            f"there is no complete set {shown(language)}; there are {listed}; for any other "
            "language write the words into a table [words]",
        )
        return "en"
    return language or "en"


def _own_word(table: TomlTable, key: str) -> str | tuple[str, ...]:
    """What stands at the key, "" for what can't."""
    if key == "months":
        months = table.texts(key, longest=12, most=12, required=True)
        if len(months) == 12:
            return months
        table.wrong(key, "must hold twelve names, January first")
        return ""
    word = table.text(key, longest=LONGEST)
    return word if word and _serves(table, key, word, getattr(ENGLISH, key)) else ""


def _own_texts(words: TomlTable, part: Part) -> dict[str, str]:
    table, english = words.table(part, required=False), shipped_texts(part, "en")
    if table is None:
        return {}
    table.only(english)
    given = {key: table.text(key, longest=LONGEST_TEXT) for key in english if table.has(key)}
    return {
        key: text
        for key, text in given.items()
        if text and _serves(table, key, text, english[key], all_needed=part == "letters")
    }


def _serves(
    table: TomlTable, key: str, text: str, english: str, *, all_needed: bool = True
) -> bool:
    """Whether the braces of ``text`` hold what those of the English one do (or some of that, where
    not ``all_needed``), and months are twelve.
    """
    known = placeholders(english)
    listed = ", ".join(f"{{{name}}}" for name in sorted(known)) or "nothing"
    try:
        given = placeholders(text)
    except ValueError:
        table.wrong(key, "has a brace without its partner")
        return False
    if all_needed and given != known:
        table.wrong(key, f"must have {listed} in braces, as the English “{english}”")
    elif unknown := sorted(given - known):
        table.wrong(key, f"{{{unknown[0]}}} is not known here; in braces may stand {listed}")
    elif key == "months" and len(text.split()) != 12:
        table.wrong(key, "must be the names of twelve months, parted by spaces")
    else:
        return True
    return False
