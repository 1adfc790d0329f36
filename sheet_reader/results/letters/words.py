"""Days, lists and advice in the words of a study's letters."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from sheet_reader.study.words import ENGLISH_LETTERS as ENGLISH

ADVICE: Mapping[str, str] = {
    "Please photograph the whole sheet": "advice_whole",
    "Please keep fingers": "advice_covered",
    "Please turn away": "advice_glare",
    "Please step closer": "advice_closer",
    "Please send the photograph in its full size": "advice_size",
    "Please hold still": "advice_still",
    "Please find more light": "advice_light",
    "Please lay the sheet flat": "advice_flat",
}
"""How the record's advice begins, which is kept in English, and the key of its words."""


def advice_in(words: Mapping[str, str], advice: str) -> str:
    """Advice of the record in the words of the letters; in English it keeps its details."""
    key = next((key for start, key in ADVICE.items() if advice.startswith(start)), "")
    return advice if not key or words[key] == ENGLISH[key] else words[key]


def day_in_words(words: Mapping[str, str], day: date) -> str:
    """A day as the volunteers write it."""
    return words["date"].format(day=day.day, month=words["months"].split()[day.month - 1])


def listed(words: Mapping[str, str], entries: list[str]) -> str:
    """“a, b and c”."""
    if len(entries) < 2:
        return "".join(entries)
    return words["list_and"].format(rest=", ".join(entries[:-1]), last=entries[-1])
