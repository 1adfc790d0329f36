"""The life of each value of a visit: every reading and every decision, in order."""

from __future__ import annotations

from itertools import accumulate
from typing import Any

from sqlalchemy import Connection, select

from sheet_reader.record import schema
from sheet_reader.record.loading import UNDO, load_visits
from sheet_reader.record.model import HistoryEntry
from sheet_reader.record.naming import neutral_name
from sheet_reader.record.standing import Visit
from sheet_reader.study.model import Study

WHAT = {
    "accept": "accepted as read",
    "value": "corrected",
    "empty": "left empty",
    "unreadable": "can't be read",
    UNDO: "taken back",
}

Place = tuple[int, int]
"""Place in the sequence of all looks and decisions: the look before, the decision (0 for none)."""


def of_visit(
    connection: Connection, study: Study, site: str, visit_date: str
) -> list[HistoryEntry]:
    """Every event of the visit's fields, field by field in the study's order, oldest first.

    The order is that of the record, whatever the clock said.
    """
    visits = [
        v for v in load_visits(connection, study) if (v.site, v.visit_date) == (site, visit_date)
    ]
    entries = [entry for visit in visits for entry in _entries(connection, visit)]
    order = {s.name: n for n, s in enumerate(study.fields)}
    entries.sort(key=lambda e: (order.get(e[1].field, 999), e[1].field, e[0]))
    return [entry for _, entry in entries]


def _entries(connection: Connection, visit: Visit) -> list[tuple[Place, HistoryEntry]]:
    ids = [seen.sighting_id for seen in visit.seen]
    serving = [e for e in visit.fields if e.serves and not e.asks]
    serving_reads = {e.read.reading_id for e in serving if not e.decided}
    serving_decisions = {e.decided.decision_id for e in serving if e.decided}
    return _read(connection, ids, serving_reads) + _decided(connection, ids, serving_decisions)


def _read(
    connection: Connection, ids: list[int], serving: set[int]
) -> list[tuple[Place, HistoryEntry]]:
    r, k, s = schema.readings.c, schema.looks.c, schema.sightings.c
    query = (
        select(
            r.id, k.id.label("look"), k.at, r.field, r.value, k.program, s.photo_id, s.page,
            s.layout, k.model, r.confidence, r.status, r.reason,
        )
        .join_from(schema.readings, schema.looks, k.id == r.look_id)
        .join(schema.sightings, s.id == k.sighting_id)
        .where(s.id.in_(ids))
    )  # fmt: skip
    return [
        ((row.look, 0), _as_read(row, serves=row.id in serving))
        for row in connection.execute(query)
    ]


def _as_read(row: Any, *, serves: bool) -> HistoryEntry:
    return HistoryEntry(
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
        serves=serves,
    )


def _decided(
    connection: Connection, ids: list[int], serving: set[int]
) -> list[tuple[Place, HistoryEntry]]:
    d, k, r = schema.decisions.c, schema.looks.c, schema.readings.c
    s = schema.sightings.c
    query = (
        select(
            d.id, d.looks_before, k.id.label("look"), d.at, d.field, d.kind, d.value, d.by, d.blind,
            s.photo_id, s.page, s.layout, k.model,
        )
        .join_from(schema.decisions, schema.sightings, s.id == d.sighting_id)
        .join(schema.readings, r.id == d.reading_id)
        .join(schema.looks, k.id == r.look_id)
        .where(s.id.in_(ids))
        .order_by(d.id)
    )  # fmt: skip
    rows = connection.execute(query).all()
    # Older decisions don't say which looks were there: at least their own, and those before them.
    looks = accumulate((row.looks_before or row.look for row in rows), max)
    return [
        ((look, row.id), _as_decided(row, serves=row.id in serving))
        for look, row in zip(looks, rows, strict=True)
    ]


def _as_decided(row: Any, *, serves: bool) -> HistoryEntry:
    return HistoryEntry(
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
        serves=serves,
    )
