"""Visits as the rows that review, results and audit work with. Pure functions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np

from sheet_reader.record.model import ReadingRow, Rival, Status, VisitRow, Waiting
from sheet_reader.record.standing import Effective, Visit
from sheet_reader.study.model import Study


def waiting(study: Study, visits: Iterable[Visit]) -> list[Waiting]:
    """Everything a person is asked about: photo by photo, site and date first."""
    asked = [(v, e) for v in visits for e in v.fields if e.asks]
    order = {s.name: (s.kind not in ("site", "date"), n) for n, s in enumerate(study.fields)}

    def key(pair: tuple[Visit, Effective]) -> tuple[int, int, tuple[bool, int]]:
        seen, name = pair[1].seen, pair[1].read.field
        return seen.photo_id, seen.sighting_id, order.get(name, (True, 999))

    return [as_waiting(study, v, e) for v, e in sorted(asked, key=key)]


def as_waiting(study: Study, visit: Visit, effective: Effective) -> Waiting:
    """One field as a question."""
    seen, read = effective.seen, effective.read
    spec = next((s for s in study.fields if s.name == read.field), None)
    return Waiting(
        reading_id=read.reading_id,
        sighting_id=seen.sighting_id,
        photo=seen.photo,
        photo_id=seen.photo_id,
        sheet=seen.sheet,
        page=seen.page,
        site=visit.site,
        visit_date=visit.visit_date,
        field=read.field,
        label=spec.label if spec else read.field,
        kind=spec.kind if spec else "count",
        boxes=spec.boxes if spec else 0,
        value=read.value,
        confidence=read.confidence,
        runner_up=read.runner_up,
        runner_up_confidence=read.runner_up_confidence,
        reason=effective.reason,
        frame=seen.frame,
        rivals=effective.rivals,
    )


def rivals_of(visits: Iterable[Visit], reading_id: int) -> tuple[Rival, ...]:
    """The values of other photos that a question about this reading names; () if it isn't asked."""
    found = (e.rivals for v in visits for e in v.fields if e.read.reading_id == reading_id)
    return next(found, ())


def reading_rows(visits: Iterable[Visit]) -> list[ReadingRow]:
    """One row per field and photo, photo by photo."""
    pairs = [(v, e) for v in visits for e in v.fields]
    pairs.sort(key=lambda p: (p[1].seen.photo_id, p[1].seen.sighting_id))
    return [_reading_row(v, e) for v, e in pairs]


def _reading_row(visit: Visit, e: Effective) -> ReadingRow:
    return ReadingRow(
        reading_id=e.read.reading_id,
        sighting_id=e.seen.sighting_id,
        photo=e.seen.photo,
        photo_id=e.seen.photo_id,
        sheet=e.seen.sheet,
        page=e.seen.page,
        site=visit.site,
        visit_date=visit.visit_date,
        field=e.read.field,
        value=e.value,
        confidence=e.read.confidence,
        status=e.status,
        reason=e.reason,
        runner_up=e.read.runner_up,
        runner_up_confidence=e.read.runner_up_confidence,
        read_value=e.read.value,
        later_value=e.later_value,
        frame=e.seen.frame,
    )


def visit_rows(study: Study, visits: Iterable[Visit]) -> list[VisitRow]:
    """One row per visit: what serves, field by field; a waiting field has no value yet."""
    return [_visit_row(study, visit) for visit in visits]


def _visit_row(study: Study, visit: Visit) -> VisitRow:
    asks = {e.read.field for e in visit.fields if e.asks}
    serving = {e.read.field: e for e in visit.fields if e.serves}
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
        pages=tuple(sorted({s.page for s in visit.seen})),
        photos=tuple(dict.fromkeys(s.photo for s in visit.seen)),
        values=values,
        statuses=statuses,
        waiting=len(asks),
        advice=tuple(dict.fromkeys(s.advice for s in visit.seen if s.advice)),
    )


def accepted_sample(
    study: Study, visits: Iterable[Visit], n: int, rng: np.random.Generator
) -> list[Waiting]:
    """``n`` of the accepted values that serve, drawn without putting back; fewer if there are."""
    pool = [(v, e) for v in visits for e in v.fields if e.serves and e.status == "accepted"]
    chosen = rng.permutation(len(pool))[:n]
    return [as_waiting(study, *pool[int(i)]) for i in chosen]


def counts_by_status(visits: Iterable[Visit]) -> dict[str, int]:
    """How many fields have each status, over the readings that serve."""
    return dict(Counter(e.status for v in visits for e in v.fields if e.serves))
