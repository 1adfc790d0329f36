"""The fields that audits drew from the accepted ones, as evidence about the reader."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection, select

from sheet_reader.record.history.loading import UNDO
from sheet_reader.record.history.model import AuditedField
from sheet_reader.record.history.states import ACCEPTED, Visit
from sheet_reader.record.store import schema


def audited_fields(connection: Connection, visits: Sequence[Visit]) -> list[AuditedField]:
    """Every field answered in an audit, as it was accepted when it was drawn.

    The reading of that day counts, with its confidence and threshold: a later one was not drawn,
    and where the threshold was raised since, fields that proved wrong would drop out. What is true
    is what a person says now. A field of a visit counts once, however many photos show it and
    however often it was drawn, and as wrong if it ever was. Flagged fields don't count.
    """
    place: dict[tuple[int, str], tuple[str, str]] = {}
    truth: dict[tuple[int, str], str | None] = {}
    for visit in visits:
        for field in visit.fields:
            key = (field.reading.page_instance_id, field.reading.field)
            place[key] = visit.site, visit.visit_date
            if field.decision is not None:
                truth[key] = field.decision.value
    once: dict[tuple[tuple[str, str], int | None, str], AuditedField] = {}
    for instance, name, said, read, confidence, threshold in _drawn(connection):
        right = read == truth.get((instance, name), said)
        where = place.get((instance, name))
        site, visit_date = where or ("", "")
        drawn = ((site, visit_date), None if where else instance, name)
        if drawn not in once or (once[drawn].right and not right):
            once[drawn] = AuditedField(right, confidence, site, visit_date, threshold)
    return list(once.values())


def _drawn(
    connection: Connection,
) -> list[tuple[int, str, str | None, str | None, float, float]]:
    """Page instance, field, answer, value read, confidence and threshold of each field drawn."""
    d, r, k = schema.decisions.c, schema.readings.c, schema.reading_runs.c
    undone = select(d.undoes).where(d.undoes.is_not(None))
    query = (
        select(d.page_instance_id, d.field, d.value, r.value, r.confidence, k.threshold)
        .join(schema.readings, r.id == d.reading_id)
        .join(schema.reading_runs, k.id == r.run_id)
        .where(d.blind, d.kind != UNDO, d.id.not_in(undone), r.status.in_(ACCEPTED))
        .order_by(d.id)
    )
    return [tuple(row) for row in connection.execute(query)]
