"""Reading runs as they go into the record: by a photo, or by what was kept of one.

A sure reading is never replaced unasked. Where a run surely reads another value than the last sure
one of the same field in the same photo, its reading waits for a person.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, insert, select, update

from sheet_reader import __version__
from sheet_reader.decode.pages import FieldReading
from sheet_reader.reasons import Code, because, to_json
from sheet_reader.record.history.model import FoundPage, now
from sheet_reader.record.history.states import ACCEPTED
from sheet_reader.record.store import schema

AT_A_TIME = 500


def add_run(
    connection: Connection, page_instance_id: int, page: FoundPage, model: str, attempt: int
) -> None:
    """Keep one reading of a page by its photo."""
    values = {
        "page_instance_id": page_instance_id,
        "attempt": attempt,
        "at": now(),
        "program": __version__,
        "model": model,
        "identified_by": page.identified_by,
        "px_per_mm": page.px_per_mm,
        "blur_mm": page.blur_mm,
        "contrast": page.contrast,
        "hidden_boxes": page.hidden_boxes,
        "glare_share": page.glare_share,
        "advice": page.advice,
        "site": page.site,
        "visit_date": page.visit_date,
        "outline": json.dumps(page.outline),
        "threshold": page.threshold,
        "evidence": page.evidence,
    }
    sure = last_sure(connection, [page_instance_id]).get(page_instance_id, {})
    pictures = {
        f.reading.field: {
            "corners": json.dumps(f.corners),
            "boxes_png": f.boxes_png,
            "context_png": f.context_png,
        }
        for f in page.fields
    }
    insert_run(connection, values, not_unasked([f.reading for f in page.fields], sure), pictures)
    here = schema.page_instances.c.id == page_instance_id
    under = update(schema.page_instances).where(here).values(decoded_under=page.decoded_under)
    if page.decoded_under is not None:
        connection.execute(under)


def insert_run(
    connection: Connection,
    values: Mapping[str, Any],
    fields: Sequence[FieldReading],
    pictures: Mapping[str, Mapping[str, Any]],
) -> None:
    """Add a run with these ``values`` of its columns, and its readings; ``pictures`` has the
    columns with pictures by field.
    """
    run = connection.execute(insert(schema.reading_runs).values(values)).inserted_primary_key
    assert run is not None
    none: Mapping[str, Any] = {"corners": "[]", "boxes_png": b"", "context_png": b""}
    rows: list[dict[str, Any]] = [
        {
            **pictures.get(f.field, none),
            "run_id": int(run[0]),
            "field": f.field,
            "value": f.value,
            "confidence": float(f.confidence),
            "status": f.status,
            "reasons": to_json(f.reasons),
            "runner_up": f.runner_up,
            "runner_up_confidence": float(f.runner_up_confidence),
        }
        for f in fields
    ]
    if rows:
        connection.execute(insert(schema.readings), rows)


def last_sure(
    connection: Connection, page_instances: Sequence[int]
) -> dict[int, dict[str, str | None]]:
    """The last sure value of each field of these page instances, by page instance and field."""
    r, k = schema.readings.c, schema.reading_runs.c
    found: dict[int, dict[str, str | None]] = {}
    for start in range(0, len(page_instances), AT_A_TIME):
        some = page_instances[start : start + AT_A_TIME]
        query = (
            select(k.page_instance_id, r.field, r.value)
            .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
            .where(k.page_instance_id.in_(some), r.status.in_(ACCEPTED))
            .order_by(k.id)
        )
        for instance, field, value in connection.execute(query):
            found.setdefault(instance, {})[field] = value
    return found


def not_unasked(
    fields: Iterable[FieldReading], sure: Mapping[str, str | None]
) -> list[FieldReading]:
    """``fields``, those flagged that surely say something else than the last ``sure`` reading."""
    return [
        replace(f, status="flagged", reasons=(because(Code.WAS_SURE, before=sure[f.field]),))
        if f.status in ACCEPTED and f.field in sure and f.value != sure[f.field]
        else f
        for f in fields
    ]
