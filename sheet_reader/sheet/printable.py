"""What a study asks the sheet to print that it can't: signs that the typeface lacks."""

from __future__ import annotations

from collections.abc import Iterator

from sheet_reader.errors import Mistake
from sheet_reader.sheet.fonts import unprintable
from sheet_reader.study.model import Study


def printed_texts(study: Study) -> Iterator[tuple[str, str]]:
    """Every text of the study that is printed, with its path in the study file."""
    yield "title", study.title
    for i, head in enumerate(study.header):
        yield f"header[{i}].label", head.label
    for i, plot in enumerate(study.plots):
        yield f"plots[{i}].label", plot.label
        yield f"plots[{i}].treatment", plot.treatment
    for i, count in enumerate(study.counts):
        yield f"counts[{i}].label", count.label
        yield f"counts[{i}].unit", count.unit
        yield f"counts[{i}].note", count.note
    if study.comments is not None:
        yield "comments.label", study.comments.label
    for i, line in enumerate(study.instructions):
        yield f"instructions[{i}]", line
    for site in study.roster:
        yield f"roster site {site.number} label", site.label


def unprintable_texts(study: Study) -> tuple[Mistake, ...]:
    """A mistake for each text with signs that the sheet's typeface lacks."""
    found = []
    for path, text in printed_texts(study):
        lacking = unprintable(text)
        if lacking:
            signs = " ".join(f"“{sign}” (U+{ord(sign):04X})" for sign in lacking[:5])
            found.append(Mistake(path, f"the sheet's typeface has no {signs}"))
    return tuple(found)
