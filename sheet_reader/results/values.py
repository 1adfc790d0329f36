"""Which value of a field counts, and why one has none: for tables, status and letters alike."""

from __future__ import annotations

from collections.abc import Iterable

from sheet_reader.record.history.states import RECORDED
from sheet_reader.results.from_record import FieldFact, VisitFact
from sheet_reader.study.model import Study

NOT_RECEIVED, EMPTY, UNREADABLE, WAITS = "not received", "not recorded", "not readable", "waits"
"""Why a cell holds no value: its page did not come in, nothing is written in it, nobody can read
it, or a person has yet to decide."""


def in_order(visits: Iterable[VisitFact]) -> list[VisitFact]:
    """By site and date; visits whose site or date is not settled come last."""
    return sorted(
        visits, key=lambda v: (not v.site, not v.visit_date, v.site, v.visit_date, v.photos)
    )


def counted(value: FieldFact | None) -> str | None:
    """The value of a field if it counts."""
    return value.value if value is not None and value.status in RECORDED else None


def number_of(value: FieldFact | None) -> int | None:
    """The number that a field says, if it counts and is one."""
    text = counted(value) or ""
    return int(text) if text.isdecimal() else None


def why_missing(found: FieldFact | None) -> str:
    """Why a number has no value, "" where it has one."""
    if found is None:
        return NOT_RECEIVED
    return "" if number_of(found) is not None else why_no_value(found.status)


def why_no_value(status: str) -> str:
    """Why a field of this status has no value."""
    return {"flagged": WAITS, "unreadable": UNREADABLE}.get(status, EMPTY)


def efforts(study: Study, fields: dict[str, FieldFact]) -> dict[str, int | None]:
    """The effort of each plot of a visit, None where none is recorded."""
    effort = study.effort
    if effort is None:
        return {plot.name: None for plot in study.plots}
    if any(count.name == effort.field for count in study.counts):
        return {p.name: number_of(fields.get(f"{p.name}.{effort.field}")) for p in study.plots}
    return {plot.name: number_of(fields.get(effort.field)) for plot in study.plots}
