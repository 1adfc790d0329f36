"""From what a person types to a value of the field: understood, doubtful or not possible."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from difflib import get_close_matches

from sheet_reader.study.kinds import FieldValue as Value
from sheet_reader.study.kinds import Refusal as Refusal
from sheet_reader.study.model import FieldSpec, Site, Study


def understand(
    typed: str, spec: FieldSpec, study: Study, today: date, near: str = ""
) -> Value | Refusal:
    """The value that ``typed`` means for the field ``spec``; of a date the parts that are left out
    are those of ``near`` (ISO 8601), where there is one.
    """
    about = date.fromisoformat(near) if near else None
    return spec.kind.check(study, spec, typed, today=today, near=about)


def sites_named(text: str, sites: Sequence[Site], most: int = 6) -> tuple[Site, ...]:
    """The sites whose names hold all the words of ``text``, else those named most alike."""
    parts = text.casefold().split()
    holding = [s for s in sites if all(part in s.label.casefold() for part in parts)]
    if holding or not parts:
        return tuple(holding[:most])
    names = {site.label.casefold(): site for site in sites if site.label}
    alike = get_close_matches(" ".join(parts), names, most, 0.5)
    return tuple(names[name] for name in alike)
