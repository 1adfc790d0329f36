"""What a study asks the sheet to print that it can't: signs that the typeface lacks, and scripts
that run from right to left.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import fields

from sheet_reader.errors import Mistake
from sheet_reader.sheet.fonts import unprintable
from sheet_reader.study.model import Study
from sheet_reader.study.table import entry_place, list_place
from sheet_reader.study.words import SheetWords

_RIGHT_TO_LEFT = frozenset(("R", "AL", "RLE", "RLO", "RLI"))
"""Bidirectional classes of Unicode Standard Annex 9."""


def printed_texts(study: Study) -> Iterator[tuple[str, str]]:
    """Every text of the study that is printed, with its place in the study file in words."""
    yield "title", study.title
    for i, head in enumerate(study.header):
        yield f"{list_place('header', i, head.label)}, label", head.label
    for i, plot in enumerate(study.plots):
        place = list_place("plots", i, plot.label)
        yield f"{place}, label", plot.label
        yield f"{place}, treatment", plot.treatment
    for i, count in enumerate(study.counts):
        place = list_place("counts", i, count.label)
        yield f"{place}, label", count.label
        yield f"{place}, unit", count.unit
        yield f"{place}, note", count.note
    if study.comments is not None:
        yield "comments.label", study.comments.label
    for i, line in enumerate(study.instructions):
        yield entry_place("instructions", i), line
    yield "send_to", study.send_to
    yield from printed_words(study.words)
    for site in study.sites:
        yield f"the site list, site {site.number} label", site.label


def printed_words(words: SheetWords) -> Iterator[tuple[str, str]]:
    """Every fixed word with its key in the study file."""
    for field in fields(words):
        value = getattr(words, field.name)
        for i, text in enumerate(value if isinstance(value, tuple) else (value,)):
            key = f"words.{field.name}"
            yield (entry_place(key, i) if isinstance(value, tuple) else key), text


def unprintable_texts(study: Study) -> tuple[Mistake, ...]:
    """A mistake for each text with signs that the sheet's typeface lacks, and for each in a script
    that runs from right to left, which the sheet can't set.
    """
    found = []
    for path, text in printed_texts(study):
        lacking = unprintable(text)
        if any(unicodedata.bidirectional(sign) in _RIGHT_TO_LEFT for sign in text):
            why = "is in a script written from right to left, which the sheet can't set"
            found.append(Mistake(path, why))
        elif lacking:
            signs = " ".join(f"“{sign}” (U+{ord(sign):04X})" for sign in lacking[:5])
            found.append(Mistake(path, f"the sheet's typeface has no {signs}"))
    return tuple(found)
