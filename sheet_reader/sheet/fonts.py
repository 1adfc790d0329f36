"""Print: the sheet's typeface with its widths and faces, the sizes of print, and what a study asks
for that can't be printed.

Roboto (Apache License 2.0) has Latin, Greek and Cyrillic in every face and stays narrow. No text
that a volunteer reads is smaller than the sizes here.
"""

from __future__ import annotations

import contextlib
import unicodedata
from collections.abc import Iterator
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from sheet_reader.errors import Mistake
from sheet_reader.sheet.page import Face
from sheet_reader.study.study import Study
from sheet_reader.study.table import entry_place, list_place
from sheet_reader.study.words import KEYS

MM = 72 / 25.4
"""PDF points in a millimetre."""
POINT = 25.4 / 72
"""A typographic point in mm."""
LABEL = 10 * POINT
"""Labels of fields, plots and comments."""
INSTRUCTION = 9 * POINT
"""What to do."""
HINT = 8 * POINT
"""Notes and captions."""
TITLE = 18 * POINT
PLOT = 13 * POINT
"""Largest sizes of the sheet's and of a plot's title."""
CAPITAL = 0.73
"""Height of a capital of the typeface, in sizes."""
HAIRLINE = 0.18
RULE = 0.5
"""Thickness of light and heavy rules."""
_FILES = {"plain": "Roboto-Regular.ttf", "bold": "Roboto-Bold.ttf", "italic": "Roboto-Italic.ttf"}
_RIGHT_TO_LEFT = frozenset(("R", "AL", "RLE", "RLO", "RLI"))
"""Bidirectional classes of Unicode Standard Annex 9."""

SizedLine = tuple[str, float, Face]
"""A line of text, its size in mm and its face."""


class TooWideError(Exception):
    """A word, or something else that can't be parted, is wider than its place."""


def font_file(face: Face) -> Path:
    """The TrueType file of the face."""
    return Path(__file__).parent / "fonts_roboto" / _FILES[face]


@cache
def _face(face: Face) -> Any:
    from reportlab.pdfbase import pdfmetrics  # slow to load, and for what is drawn alone
    from reportlab.pdfbase.ttfonts import TTFont

    font = TTFont(f"sheet-{face}", str(font_file(face)))
    pdfmetrics.registerFont(font)
    return font


def font_name(face: Face) -> str:
    """The name under which the face is registered with the PDF library."""
    return str(_face(face).fontName)


@lru_cache(maxsize=20_000)
def text_width(text: str, size_mm: float, face: Face = "plain") -> float:
    """Width of a line of text in mm."""
    return float(_face(face).stringWidth(text, size_mm * MM)) / MM


def fit(text: str, width_mm: float, size_mm: float, least_mm: float, face: Face = "plain") -> float:
    """The largest size up to ``size_mm`` at which the line fits, or 0.0 where not even
    ``least_mm`` does.
    """
    width = text_width(text, size_mm, face)
    if width <= max(0.0, width_mm):
        return size_mm
    size = size_mm * width_mm / width * 0.999
    return size if size >= least_mm else 0.0


def fit_or_cut(
    text: str, width_mm: float, size_mm: float, least_mm: float, face: Face = "plain"
) -> tuple[str, float]:
    """The text and the size at which it fits, cut with an ellipsis where it can't shrink enough."""
    size = fit(text, width_mm, size_mm, least_mm, face)
    if size:
        return text, size
    while text and text_width(text + "…", least_mm, face) > width_mm:
        text = text[:-1]
    return text.rstrip() + "…", least_mm


def wrap(text: str, width_mm: float, size_mm: float, face: Face = "plain") -> list[str]:
    """The text in lines no wider than ``width_mm``; raises TooWideError where one word is wider."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if text_width(longer, size_mm, face) <= width_mm:
            line = longer
        elif line and text_width(word, size_mm, face) <= width_mm:
            lines.append(line)
            line = word
        else:
            raise TooWideError(word)
    return [*lines, line] if line else lines


def wrap_even(text: str, width_mm: float, size_mm: float, face: Face = "plain") -> list[str]:
    """As :func:`wrap` in as few lines, but these about as long as each other."""
    lines = wrap(text, width_mm, size_mm, face)
    low, high = 0.5, 1.0
    for _ in range(8 if len(lines) > 1 else 0):
        share = (low + high) / 2
        narrower: list[str] = []
        with contextlib.suppress(TooWideError):
            narrower = wrap(text, width_mm * share, size_mm, face)
        if len(narrower) == len(lines):
            lines, high = narrower, share
        else:
            low = share
    return lines


def heading(text: str, width_mm: float, size_mm: float) -> list[SizedLine]:
    """The text in bold: in one line of up to this size, else in lines of that of labels. Raises
    TooWideError where one word is wider.
    """
    size = fit(text, width_mm, size_mm, LABEL, "bold")
    lines = [text] if size else wrap_even(text, width_mm, LABEL, "bold")
    return [(line, size or LABEL, "bold") for line in lines]


def printed_texts(study: Study) -> Iterator[tuple[str, str]]:
    """Every text of the study that is printed, with its place in the study file in words."""
    yield "title", study.title
    for tables, keys in (
        ("header", ("label",)),
        ("plots", ("label", "treatment")),
        ("counts", ("label", "unit", "note")),
    ):
        for i, entry in enumerate(getattr(study, tables)):
            place = list_place(tables, i, entry.label)
            yield from ((f"{place}, {key}", getattr(entry, key)) for key in keys)
    if study.comments is not None:
        yield "comments.label", study.comments.label
    for i, line in enumerate(study.instructions):
        yield entry_place("instructions", i), line
    yield "send_to", study.send_to
    for key in KEYS:
        value = getattr(study.words, key)
        if isinstance(value, str):
            yield f"words.{key}", value
        else:
            yield from ((entry_place(f"words.{key}", i), text) for i, text in enumerate(value))
    for site in study.sites:
        yield f"the site list, site {site.number} label", site.label


def unprintable_texts(study: Study) -> tuple[Mistake, ...]:
    """A mistake for each text with signs that the sheet's typeface lacks, and for each in a script
    that runs from right to left, which the sheet can't set.
    """
    known, found = _face("plain").face.charToGlyph, []
    for path, text in printed_texts(study):
        lacking = dict.fromkeys(sign for sign in text if ord(sign) not in known)
        if any(unicodedata.bidirectional(sign) in _RIGHT_TO_LEFT for sign in text):
            why = "is in a script written from right to left, which the sheet can't set"
            found.append(Mistake(path, why))
        elif lacking:
            signs = " ".join(f"“{sign}” (U+{ord(sign):04X})" for sign in list(lacking)[:5])
            found.append(Mistake(path, f"the sheet's typeface has no {signs}"))
    return tuple(found)
