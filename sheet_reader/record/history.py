"""The life of each value of a visit: every reading and every decision, in order."""

from __future__ import annotations

from sqlalchemy import Connection, select

from sheet_reader.record import schema
from sheet_reader.record.effective import Visit
from sheet_reader.record.loading import UNDO, load_visits
from sheet_reader.record.model import HistoryEntry
from sheet_reader.record.naming import neutral_name
from sheet_reader.study.model import Study

WHAT = {
    "accept": "accepted as read",
    "value": "corrected",
    "empty": "left empty",
    "unreadable": "can't be read",
    UNDO: "taken back",
}


def of_visit(
    connection: Connection, study: Study, site: str, visit_date: str
) -> list[HistoryEntry]:
    """Every event of the visit's fields, field by field in the study's order, oldest first."""
    visits = [
        v for v in load_visits(connection, study) if (v.site, v.visit_date) == (site, visit_date)
    ]
    entries = [entry for visit in visits for entry in _entries(connection, visit)]
    order = {s.name: n for n, s in enumerate(study.fields)}
    return sorted(entries, key=lambda e: (order.get(e.field, 999), e.at))


def _entries(connection: Connection, visit: Visit) -> list[HistoryEntry]:
    ids = [seen.sighting_id for seen in visit.seen]
    serving_reads = {e.read.reading_id for e in visit.fields if e.serves and not e.decided}
    serving_decisions = {e.decided.decision_id for e in visit.fields if e.serves and e.decided}
    return _read(connection, ids, serving_reads) + _decided(connection, ids, serving_decisions)


def _read(connection: Connection, ids: list[int], serving: set[int]) -> list[HistoryEntry]:
    r, k, s = schema.readings.c, schema.looks.c, schema.sightings.c
    query = (
        select(
            r.id, k.at, r.field, r.value, k.program, s.photo_id, s.page, s.layout, k.model,
            r.confidence, r.status, r.reason,
        )
        .join_from(schema.readings, schema.looks, k.id == r.look_id)
        .join(schema.sightings, s.id == k.sighting_id)
        .where(s.id.in_(ids))
    )  # fmt: skip
    return [
        HistoryEntry(
            at=row.at,
            field=row.field,
            what=f"read, {row.status}",
            value=row.value,
            by=f"sheet_reader {row.program}",
            photo=neutral_name(row.photo_id),
            page=row.page,
            layout=row.layout,
            model=row.model,
            confidence=row.confidence,
            reason=row.reason,
            serves=row.id in serving,
        )
        for row in connection.execute(query)
    ]


def _decided(connection: Connection, ids: list[int], serving: set[int]) -> list[HistoryEntry]:
    d, k, r, s = schema.decisions.c, schema.looks.c, schema.readings.c, schema.sightings.c
    query = (
        select(
            d.id, d.at, d.field, d.kind, d.value, d.by, d.blind, s.photo_id, s.page, s.layout,
            k.model,
        )
        .join_from(schema.decisions, schema.sightings, s.id == d.sighting_id)
        .join(schema.readings, r.id == d.reading_id)
        .join(schema.looks, k.id == r.look_id)
        .where(s.id.in_(ids))
    )  # fmt: skip
    return [
        HistoryEntry(
            at=row.at,
            field=row.field,
            what=WHAT[row.kind],
            value=row.value,
            by=row.by,
            photo=neutral_name(row.photo_id),
            page=row.page,
            layout=row.layout,
            model=row.model,
            confidence=None,
            reason="without seeing what was read" if row.blind else "",
            serves=row.id in serving,
        )
        for row in connection.execute(query)
    ]
