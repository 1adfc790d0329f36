"""The life of each value of a visit: every reading and every decision, in order."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import accumulate
from typing import Any

from sqlalchemy import Connection, select

from sheet_reader.reasons import Code, because
from sheet_reader.record import schema
from sheet_reader.record.kept_reasons import restored
from sheet_reader.record.loading import UNDO
from sheet_reader.record.model import HistoryEntry
from sheet_reader.record.naming import neutral_name
from sheet_reader.record.states import Visit
from sheet_reader.study.model import Study

WHAT = {
    "accept": "accepted as read",
    "value": "corrected",
    "empty": "left empty",
    "unreadable": "can't be read",
    UNDO: "taken back",
}

Place = tuple[int, int]
"""Place in the sequence of all reading runs and decisions: the run before, the decision (or 0)."""


def of_visit(
    connection: Connection, visits: Iterable[Visit], study: Study, site: str, visit_date: str
) -> list[HistoryEntry]:
    """Every event of the visit's fields, field by field in the study's order, oldest first.

    The order is that of the record, whatever the clock said.
    """
    here = [v for v in visits if (v.site, v.visit_date) == (site, visit_date)]
    entries = [entry for visit in here for entry in _entries(connection, visit)]
    order = {s.name: n for n, s in enumerate(study.fields)}
    entries.sort(key=lambda e: (order.get(e[1].field, 999), e[1].field, e[0]))
    return [entry for _, entry in entries]


def _entries(connection: Connection, visit: Visit) -> list[tuple[Place, HistoryEntry]]:
    ids = [seen.page_instance_id for seen in visit.pages]
    serving = [e for e in visit.fields if e.is_current and not e.needs_review]
    serving_reads = {e.reading.reading_id for e in serving if not e.decision}
    serving_decisions = {e.decision.decision_id for e in serving if e.decision}
    return _read(connection, ids, serving_reads) + _decided(connection, ids, serving_decisions)


def _read(
    connection: Connection, ids: list[int], serving: set[int]
) -> list[tuple[Place, HistoryEntry]]:
    r, k, s = schema.readings.c, schema.reading_runs.c, schema.page_instances.c
    query = (
        select(
            r.id, k.id.label("run"), k.at, r.field, r.value, k.program, s.photo_id, s.page,
            s.layout, k.model, r.confidence, r.status, r.reason, r.reasons,
            k.decoded_from,
        )
        .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
        .join(schema.page_instances, s.id == k.page_instance_id)
        .where(s.id.in_(ids))
    )  # fmt: skip
    return [
        ((row.run, 0), _as_read(row, is_current=row.id in serving))
        for row in connection.execute(query)
    ]


def _as_read(row: Any, *, is_current: bool) -> HistoryEntry:
    return HistoryEntry(
        at=row.at,
        field=row.field,
        what=f"{'read' if row.decoded_from is None else 'decoded anew'}, {row.status}",
        value=row.value,
        by=f"sheet_reader {row.program}",
        photo=neutral_name(row.photo_id),
        page=row.page,
        layout=row.layout,
        model=row.model,
        confidence=row.confidence,
        reasons=restored(row.reasons, row.reason),
        is_current=is_current,
    )


def _decided(
    connection: Connection, ids: list[int], serving: set[int]
) -> list[tuple[Place, HistoryEntry]]:
    d, k, r = schema.decisions.c, schema.reading_runs.c, schema.readings.c
    s = schema.page_instances.c
    query = (
        select(
            d.id, d.runs_before, k.id.label("run"), d.at, d.field, d.kind, d.value, d.by, d.blind,
            s.photo_id, s.page, s.layout, k.model,
        )
        .join_from(schema.decisions, schema.page_instances, s.id == d.page_instance_id)
        .join(schema.readings, r.id == d.reading_id)
        .join(schema.reading_runs, k.id == r.run_id)
        .where(s.id.in_(ids))
        .order_by(d.id)
    )  # fmt: skip
    rows = connection.execute(query).all()
    # Older decisions don't say which runs were there: at least their own, and those before them.
    runs = accumulate((row.runs_before or row.run for row in rows), max)
    return [
        ((run, row.id), _as_decided(row, is_current=row.id in serving))
        for run, row in zip(runs, rows, strict=True)
    ]


def _as_decided(row: Any, *, is_current: bool) -> HistoryEntry:
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
        reasons=(because(Code.KEYED_BLIND),) if row.blind else (),
        is_current=is_current,
    )
