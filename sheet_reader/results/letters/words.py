"""Every word of the letters: a table of keys and texts that a study may replace one by one.

A text may hold ``{names}``; those of the English one must all be there in a replaced one, and no
others.
"""

from __future__ import annotations

import string
from collections.abc import Mapping
from datetime import date

from sheet_reader.errors import UsageError

ENGLISH: Mapping[str, str] = {
    "language": "en",
    "months": "January February March April May June July August September October November "
    "December",
    "date": "{day} {month}",
    "subject": "{title}: {place}",
    "list_and": "{rest} and {last}",
    "greeting": "Hello,",
    "thanks": "thank you for your counts from {place} on {days}. They have arrived.",
    "thanks_none": "thank you for counting with us.",
    "questions": "A few things are open. Just answer this mail, in a word or two:",
    "empty": "{place}, {day}: “{field}” is empty. Was it 0, or was it not counted?",
    "empty_but_never_0": "{place}, {day}: “{field}” is empty. Do you still know the number?",
    "plot_empty": "{place}, {day}: nothing is written for “{plot}”. Was it 0 everywhere, or was "
    "it not counted?",
    "unreadable": "{place}, {day}: we can't make out what is written at “{field}”. What is it?",
    "sum": "{place}, {day}: at “{field}” stands {total}, but its parts add up to {parts}. Which "
    "number is right?",
    "effort": "{place}, {day}: the times searched differ ({told}). Is that as it was?",
    "page": "{place}, {day}: page {page} has not arrived. Could you send a photo of it?",
    "photo": "One photo could not be read ({reason}). Could you take it once more?",
    "missed": "No sheet has come from {place} for {days}. If you did count, please send a photo; "
    "if you could not, never mind.",
    "picture": "(see picture {number})",
    "advice": "For the next photo:",
    "closing": "Thank you, and happy counting!",
    "signature": "{title}",
}


def words_of(changes: Mapping[str, str]) -> dict[str, str]:
    """The English words with a study's own in their place. Raises UsageError for one that can't
    serve, with its place in the study file.
    """
    for key, text in changes.items():
        where = f"study.toml, words.letters.{key}"
        if key not in ENGLISH:
            raise UsageError("the letters have no such words", where=where)
        try:
            given = _names(text)
        except ValueError:
            raise UsageError("has a brace without its partner", where=where) from None
        if given != _names(ENGLISH[key]):
            listed = ", ".join(f"{{{name}}}" for name in sorted(_names(ENGLISH[key]))) or "nothing"
            raise UsageError(f"must have {listed} in braces, as the English words", where=where)
        if key == "months" and len(text.split()) != 12:
            raise UsageError("must be the names of twelve months, parted by spaces", where=where)
    return {**ENGLISH, **changes}


def _names(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def day_in_words(words: Mapping[str, str], day: date) -> str:
    """A day as the volunteers write it."""
    return words["date"].format(day=day.day, month=words["months"].split()[day.month - 1])


def listed(words: Mapping[str, str], entries: list[str]) -> str:
    """“a, b and c”."""
    if len(entries) < 2:
        return "".join(entries)
    return words["list_and"].format(rest=", ".join(entries[:-1]), last=entries[-1])
