"""Visits as the rows that review, results and audit work with."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from sqlalchemy import Connection, select

from sheet_reader.record.history.sheets import stands
from sheet_reader.record.history.states import (
    ACCEPTED,
    FieldState,
    Status,
    VisitRow,
    VisitState,
)
from sheet_reader.record.store import schema
from sheet_reader.study.study import Study


@dataclass(frozen=True, slots=True)
class Summary:
    """How the record stands: photos by status, the fields that serve by status, visits, and what
    waits.
    """

    photos: dict[str, int]
    fields: dict[str, int]
    pages: int
    visits: int
    waiting: int


@dataclass(frozen=True, slots=True)
class AuditedField:
    """An accepted field that an audit drew: whether it was ``right``, the ``confidence`` and
    ``threshold`` under which it was accepted, and its ``site`` and ``visit_date`` as they stand now
    ("" where the page is in no visit).
    """

    right: bool
    confidence: float
    site: str
    visit_date: str
    threshold: float


def reading_rows(visits: Iterable[VisitState]) -> list[FieldState]:
    """Every field in every photo, photo by photo."""
    fields = (e for v in visits for e in v.fields)
    return sorted(fields, key=lambda e: (e.photo_id, e.page_instance_id))


def visit_rows(study: Study, visits: Iterable[VisitState]) -> list[VisitRow]:
    """One row per visit: what serves, field by field; a waiting field has no value yet."""
    return [_visit_row(study, visit) for visit in visits]


def _visit_row(study: Study, visit: VisitState) -> VisitRow:
    serving = visit.serving
    placed = study.placed(visit.site, visit.visit_date)
    values: dict[str, str | None] = {}
    statuses: dict[str, Status] = {}
    for spec in study.fields:
        field = serving.get(spec.name)
        if field is not None:
            values[spec.name] = None if field.status == "flagged" else field.value
            statuses[spec.name] = field.status
        elif spec.kind.is_key:
            values[spec.name] = placed[spec.name] or None
            statuses[spec.name] = "accepted"
    return VisitRow(
        site=visit.site,
        visit_date=visit.visit_date,
        pages=tuple(sorted({s.page for s in visit.pages})),
        photos=tuple(dict.fromkeys(s.photo for s in visit.pages)),
        values=values,
        statuses=statuses,
        waiting=len({e.field for e in visit.fields if e.needs_review}),
        advice=tuple(dict.fromkeys(s.advice for s in visit.pages if s.advice)),
    )


def accepted_sample(
    visits: Iterable[VisitState], n: int, rng: np.random.Generator
) -> list[FieldState]:
    """``n`` of the accepted readings that serve, those of empty fields too, drawn without putting
    back; fewer if there are.
    """
    pool = [
        e
        for v in visits
        for e in v.fields
        if e.is_current and e.decision is None and e.status in ACCEPTED
    ]
    return [pool[int(i)] for i in rng.permutation(len(pool))[:n]]


def audited_fields(connection: Connection, visits: Sequence[VisitState]) -> list[AuditedField]:
    """Every field answered in an audit, as it was accepted when it was drawn.

    The reading of that day counts, with its confidence and threshold: a later one was not drawn,
    and where the threshold was raised since, fields that proved wrong would drop out. What is true
    is what a person says now. A field of a visit counts once, however many photos show it and
    however often it was drawn, and as wrong if it ever was. Flagged fields don't count.
    """
    d, r, k = schema.decisions.c, schema.readings.c, schema.reading_runs.c
    drawn = (
        select(d.page_instance_id, d.field, d.value, r.value, r.confidence, k.threshold)
        .join(schema.readings, r.id == d.reading_id)
        .join(schema.reading_runs, k.id == r.run_id)
        .where(d.blind, stands(schema.decisions), r.status.in_(ACCEPTED))
        .order_by(d.id)
    )
    stand = {(e.page_instance_id, e.field): e for v in visits for e in v.fields}
    once: dict[tuple[str, str, int | None, str], AuditedField] = {}
    for page, name, said, read, confidence, threshold in connection.execute(drawn):
        now = stand.get((page, name))
        truth = now.decision.value if now is not None and now.decision is not None else said
        site, day = (now.site, now.visit_date) if now is not None else ("", "")
        key = site, day, None if now is not None else page, name
        if key not in once or (once[key].right and read != truth):
            once[key] = AuditedField(read == truth, confidence, site, day, threshold)
    return list(once.values())
