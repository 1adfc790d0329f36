"""Visits as the rows that review, results and audit work with. Pure functions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np

from sheet_reader.record.history.lines import ReadingRow, Waiting
from sheet_reader.record.history.model import Status, VisitRow
from sheet_reader.record.history.states import ACCEPTED, FieldState, Visit
from sheet_reader.study.model import Study


def as_waiting(study: Study, visit: Visit, effective: FieldState) -> Waiting:
    """One field as a question."""
    spec = next((s for s in study.fields if s.name == effective.reading.field), None)
    return Waiting(effective, visit.site, visit.visit_date, spec.kind if spec else "count")


def reading_rows(visits: Iterable[Visit]) -> list[ReadingRow]:
    """One row per field and photo, photo by photo."""
    pairs = [(v, e) for v in visits for e in v.fields]
    pairs.sort(key=lambda p: (p[1].observation.photo_id, p[1].observation.page_instance_id))
    return [ReadingRow(e, v.site, v.visit_date) for v, e in pairs]


def visit_rows(study: Study, visits: Iterable[Visit]) -> list[VisitRow]:
    """One row per visit: what serves, field by field; a waiting field has no value yet."""
    return [_visit_row(study, visit) for visit in visits]


def _visit_row(study: Study, visit: Visit) -> VisitRow:
    needs_review = {e.reading.field for e in visit.fields if e.needs_review}
    serving = {e.reading.field: e for e in visit.fields if e.is_current}
    values: dict[str, str | None] = {}
    statuses: dict[str, Status] = {}
    for spec in study.fields:
        field = serving.get(spec.name)
        if field is not None:
            values[spec.name] = None if field.status == "flagged" else field.value
            statuses[spec.name] = field.status
        elif spec.kind in ("site", "date"):
            values[spec.name] = (visit.site if spec.kind == "site" else visit.visit_date) or None
            statuses[spec.name] = "accepted"
    return VisitRow(
        site=visit.site,
        visit_date=visit.visit_date,
        pages=tuple(sorted({s.page for s in visit.pages})),
        photos=tuple(dict.fromkeys(s.photo for s in visit.pages)),
        values=values,
        statuses=statuses,
        waiting=len(needs_review),
        advice=tuple(dict.fromkeys(s.advice for s in visit.pages if s.advice)),
    )


def accepted_sample(
    study: Study, visits: Iterable[Visit], n: int, rng: np.random.Generator
) -> list[Waiting]:
    """``n`` of the accepted readings that serve, those of empty fields too, drawn without putting
    back; fewer if there are.
    """
    pool = [
        (v, e)
        for v in visits
        for e in v.fields
        if e.is_current and e.decision is None and e.status in ACCEPTED
    ]
    chosen = rng.permutation(len(pool))[:n]
    return [as_waiting(study, *pool[int(i)]) for i in chosen]


def counts_by_status(visits: Iterable[Visit]) -> dict[str, int]:
    """How many fields have each status, over the readings that serve."""
    return dict(Counter(e.status for v in visits for e in v.fields if e.is_current))
