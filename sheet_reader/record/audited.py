"""The fields that audits drew from the accepted ones, as evidence about the reader."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from sqlalchemy import Connection, select

from sheet_reader.decode.promise import Checked
from sheet_reader.record import schema
from sheet_reader.record.loading import UNDO
from sheet_reader.record.standing import Visit


def audited_fields(connection: Connection, visits: Sequence[Visit]) -> Checked:
    """Every field answered in an audit, as it was accepted when it was drawn.

    The reading of that day counts, with its confidence and threshold: a later one was not drawn,
    and where the threshold was raised since, fields that proved wrong would drop out. What is true
    is what a person says now. A field of a visit counts once, however many photos show it and
    however often it was drawn, and as wrong if it ever was. Flagged fields don't count.
    """
    place: dict[tuple[int, str], int] = {}
    truth: dict[tuple[int, str], str | None] = {}
    for number, visit in enumerate(visits):
        for field in visit.fields:
            key = (field.read.sighting_id, field.read.field)
            place[key] = number
            if field.decided is not None:
                truth[key] = field.decided.value
    once: dict[tuple[int, str], tuple[bool, float, float]] = {}
    for sighting, name, said, read, confidence, floor in _drawn(connection):
        right = read == truth.get((sighting, name), said)
        key = (place.get((sighting, name), -1 - sighting), name)
        if key not in once or (once[key][0] and not right):
            once[key] = right, confidence, np.nan if floor is None else floor
    rows = list(once.values())
    return Checked.of(
        [score for _, score, _ in rows],
        [right for right, _, _ in rows],
        [visit for visit, _ in once],
        [floor for _, _, floor in rows],
    )


def _drawn(
    connection: Connection,
) -> list[tuple[int, str, str | None, str | None, float, float | None]]:
    """Sighting, field, answer, value read, confidence and threshold of each field drawn."""
    d, r, k = schema.decisions.c, schema.readings.c, schema.looks.c
    undone = select(d.undoes).where(d.undoes.is_not(None))
    query = (
        select(d.sighting_id, d.field, d.value, r.value, r.confidence, k.threshold)
        .join(schema.readings, r.id == d.reading_id)
        .join(schema.looks, k.id == r.look_id)
        .where(d.blind, d.kind != UNDO, d.id.not_in(undone), r.status == "accepted")
        .order_by(d.id)
    )
    return [tuple(row) for row in connection.execute(query)]
