"""Every fixed word that volunteers see, in one table: English unless ``study.toml`` says else.

``words = "de"`` takes a complete set that ships with the package; a table ``[words]`` sets single
words, on top of the ``language`` it may name. What is in braces (``{page}``) is put in by the
program and must stay. Messages to the coordinator are not here; they stay English.
"""

from __future__ import annotations

import string
import tomllib
from dataclasses import dataclass, fields, replace
from functools import cache
from importlib.resources import files
from typing import Any

from sheet_reader.study.table import Table, shown

LONGEST = 160
_FOLDER = "languages"
LETTERS = "letters"
"""The table of the words of letters, which :mod:`sheet_reader.study.letter_words` reads."""
UPDATE = "update"
"""The table of the words of updates, which :mod:`sheet_reader.study.update_words` reads."""


@dataclass(frozen=True, slots=True)
class Words:
    """The words by key; the defaults are the English ones. ``months`` are twelve short names."""

    usage: str = "One sheet for each visit. Write in black or blue."
    usage_pages: str = "Keep the pages together. Write in black or blue."
    page: str = "Page {page} of {pages}"
    day: str = "day"
    month: str = "month"
    year: str = "year"
    visit: str = "Visit {number}: {day} {month}"
    months: tuple[str, ...] = (
        "Jan", "Feb", "Mar", "Apr", "May", "June", "July", "Aug", "Sept", "Oct", "Nov", "Dec",
    )  # fmt: skip
    counted_by: str = "Counted by"
    counted_by_hint: str = "initials or name"
    tally: str = "tally here"
    continued: str = "continued"
    write_like_this: str = "Write like this"
    own_digits: str = "Write 0 to 9 once, the way you write them"
    write_zero: str = "Found none? Write 0. An empty count means you did not look."
    one_each: str = "One digit in each box: left, right or after zeros (05)."
    wrong_digit: str = (
        "Wrong digit? Cross it out from corner to corner and go on in the next free box."
    )
    no_free_box: str = (
        "No free box left? Write the number beside the boxes; a person will look at it."
    )
    read_as: str = "is read as {number}"
    comments: str = "Comments"
    photograph: str = "Photograph the whole page, sharp and flat, with all ten black marks in view."
    send_to: str = "Send the photo to {address}"
    site_number: str = "Site number"
    visit_date: str = "Visit date"
    plot: str = "Plot {number}"
    print_check: str = "Print check"
    no_sheet: str = "This page is no sheet."
    check_print: str = (
        "Print this page as you will print the sheets, in black, at 100 % (“actual size”)."
    )
    check_scales: str = (
        "Hold a ruler to both scales: 90 to 100 mm will do, if both scales are equally long."
    )
    check_seen: str = (
        "Every corner, dot and line below must be seen, and the smallest print be read with ease."
    )
    boxes: str = "boxes"
    hairline: str = "hairline"
    frame: str = "frame"
    rule: str = "rule"
    smallest_print: str = "{size} points: the smallest print on a sheet, for notes and captions"
    instruction_print: str = "{size} points: how to write, and the study's instructions"
    label_print: str = "{size} points: labels"


ENGLISH = Words()
KEYS = tuple(field.name for field in fields(Words))


@cache
def languages() -> tuple[str, ...]:
    """The languages that ship complete, by code; English first."""
    shipped = (entry.name for entry in files(__package__).joinpath(_FOLDER).iterdir())
    return ("en", *sorted(name[:-5] for name in shipped if name.endswith(".toml")))


@cache
def shipped_words(language: str) -> Words:
    """The words of one of :func:`languages`."""
    if language == "en":
        return ENGLISH
    changes: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value
        for key, value in shipped_table(language).items()
        if key not in (LETTERS, UPDATE)
    }
    return replace(ENGLISH, **changes)


def shipped_table(language: str) -> dict[str, Any]:
    """What the file of one of :func:`languages` says; English has none."""
    text = files(__package__).joinpath(_FOLDER, f"{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def placeholders(text: str) -> frozenset[str]:
    """The names in braces; raises ValueError where braces do not match."""
    parts = list(string.Formatter().parse(text))
    return frozenset(name for _, name, _, _ in parts if name is not None)


def read_words(top: Table) -> Words:
    """The words of a study file: a language's code, a table, or English where there is neither."""
    if not top.has("words"):
        return ENGLISH
    if top.is_text("words"):
        return _language(top, "words")
    table = top.table("words", required=False)
    if table is None:
        return ENGLISH
    table.only(("language", LETTERS, UPDATE, *KEYS))
    words = _language(table, "language") if table.has("language") else ENGLISH
    for key in KEYS:
        if table.has(key):
            words = _changed(table, key, words)
    return words


def _language(table: Table, key: str) -> Words:
    language = table.text(key, longest=40)
    if language and language not in languages():
        listed = ", ".join(f"“{name}”" for name in languages())
        table.wrong(
            key,
            f"there is no complete set {shown(language)}; there are {listed}; for any other "
            "language write the words into a table [words]",
        )
        return ENGLISH
    return shipped_words(language or "en")


def _changed(table: Table, key: str, words: Words) -> Words:
    if key == "months":
        months = table.texts(key, longest=12, most=12, required=True)
        if len(months) != 12:
            table.wrong(key, "must hold twelve names, January first")
            return words
        return replace(words, months=months)
    value = table.text(key, longest=LONGEST)
    if not value:
        return words
    expected = placeholders(getattr(ENGLISH, key))
    try:
        given = placeholders(value)
    except ValueError:
        table.wrong(key, "has a brace without its partner")
        return words
    if given != expected:
        listed = ", ".join(f"{{{name}}}" for name in sorted(expected)) or "nothing"
        table.wrong(key, f"must have {listed} in braces, as the English “{getattr(ENGLISH, key)}”")
        return words
    change: dict[str, Any] = {key: value}
    return replace(words, **change)
