"""Visits as plain facts, as results see them: without any record, every value known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import count
from uuid import UUID

from sheet_reader.results.facts import Facts, FieldFact, VisitFact

_IDS = count(1)


def fact(
    field: str, value: str | None = "14", status: str = "accepted", **more: object
) -> FieldFact:
    """A field of photo 1."""
    usual = FieldFact(
        reading_id=next(_IDS),
        page_instance_id=1,
        photo_id=1,
        photo="photo-0001",
        pdf_page=1,
        sheet="2043",
        page=1,
        field=field,
        value=value,
        read_as=value,
        confidence=0.9987,
        status=status,
        needs_review=status == "flagged",
        decided=status in ("confirmed", "corrected"),
        modified="2026-06-01T12:00:00.000+00:00",
    )
    return replace(usual, **more)  # type: ignore[arg-type]


def visit(
    site: str = "2043",
    day: str = "2026-05-20",
    values: Mapping[str, int | str | FieldFact] | None = None,
    **more: object,
) -> VisitFact:
    """A visit whose fields are accepted with these values; a word instead of a number is a status
    without a value ("empty", "unreadable") or with a guess ("flagged").
    """
    fields = tuple(_as_fact(name, value) for name, value in (values or {}).items())
    identity = str(UUID(int=next(_IDS)))
    usual = VisitFact(site, day, (1,), ("photo-0001",), fields, identity=identity)
    return replace(usual, **more)  # type: ignore[arg-type]


def _as_fact(name: str, value: int | str | FieldFact) -> FieldFact:
    if isinstance(value, FieldFact):
        return value
    if isinstance(value, int):
        return fact(name, str(value))
    return fact(name, "7" if value == "flagged" else None, value)


def facts(*visits: VisitFact, pages_of: int = 1) -> Facts:
    """A record of these visits."""
    return Facts(visits, pages_of=pages_of)
