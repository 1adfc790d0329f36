"""The words of the letters to volunteers: a table of keys and texts.

``[words.letters]`` in ``study.toml`` sets single ones, on top of those of the study's language.
A text may hold ``{names}``; all of the English one must be in another one, and no others.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from sheet_reader.study.table import Table
from sheet_reader.study.words import LETTERS, languages, placeholders, shipped_table

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
    "page_cut_off": "{place}, {day}: a part of page {page} is not in the photo. Could you send one "
    "of the whole page?",
    "photo": "One photo could not be read: {reason}. Could you take it once more?",
    "photo_blurred": "it is blurred",
    "photo_cut_off": "a part of the sheet is not in it",
    "photo_code": "the square code at the top right is covered, damaged or blurred",
    "photo_no_sheet": "there is no sheet to be seen in it",
    "photo_blank": "nothing is written on the sheet",
    "photo_older": "the sheet was printed before a change; please use a fresh print next time",
    "photo_file": "the file can't be opened",
    "photo_other": "something in it was not understood",
    "missed": "No sheet has come from {place} for {days}. If you did count, please send a photo; "
    "if you could not, never mind.",
    "picture": "(see picture {number})",
    "advice": "For the next photo:",
    "advice_whole": "Please photograph the whole sheet, with all its edges.",
    "advice_covered": "Please keep fingers and other things off the boxes.",
    "advice_glare": "Please turn away from the lamp or the sun, so that nothing is reflected.",
    "advice_closer": "Please step closer, so that the sheet fills the picture.",
    "advice_size": "Please send the photo in its full size.",
    "advice_still": "Please hold still and tap the sheet to focus.",
    "advice_light": "Please find more light.",
    "advice_flat": "Please lay the sheet flat.",
    "closing": "Thank you, and happy counting!",
    "signature": "{title}",
}
LONGEST = 600
MONTHS = 12


@cache
def shipped_letter_words(language: str) -> Mapping[str, str]:
    """The complete set of one of :func:`~sheet_reader.study.words.languages`."""
    if language == "en":
        return ENGLISH
    return {**ENGLISH, **shipped_table(language)[LETTERS], "language": language}


def read_letter_words(top: Table) -> Mapping[str, str]:
    """All words of a study's letters: those of its language, with its own in their place."""
    if not top.has("words"):
        return ENGLISH
    if top.is_text("words"):
        return _shipped(top, "words")
    words = top.table("words", required=False)
    if words is None:
        return ENGLISH
    return {**_shipped(words, "language"), **_changes(words)}


def _shipped(table: Table, key: str) -> Mapping[str, str]:
    """English for a language that does not ship: the words of the sheet have told it already."""
    language = table.text(key, longest=40, required=False) if table.is_text(key) else ""
    return shipped_letter_words(language if language in languages() else "en")


def _changes(words: Table) -> dict[str, str]:
    table = words.table(LETTERS, required=False)
    if table is None:
        return {}
    table.only(ENGLISH)
    given = {key: table.text(key, longest=LONGEST) for key in ENGLISH if table.has(key)}
    return {key: text for key, text in given.items() if text and _serves(table, key, text)}


def _serves(table: Table, key: str, text: str) -> bool:
    expected = placeholders(ENGLISH[key])
    try:
        given = placeholders(text)
    except ValueError:
        table.wrong(key, "has a brace without its partner")
        return False
    if given != expected:
        listed = ", ".join(f"{{{name}}}" for name in sorted(expected)) or "nothing"
        table.wrong(key, f"must have {listed} in braces, as the English “{ENGLISH[key]}”")
        return False
    if key == "months" and len(text.split()) != MONTHS:
        table.wrong(key, "must be the names of twelve months, parted by spaces")
        return False
    return True
