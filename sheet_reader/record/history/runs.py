"""Reading runs: of a page by its photo, or decoded anew, without it, from what was kept of it.

A sure reading is never replaced unasked. Where a run surely reads another value than the last sure
one of the same field in the same photo, its reading waits for a person. Every function takes a
connection inside a transaction.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Row, Select, bindparam, func, insert, or_, select, update

from sheet_reader import __version__
from sheet_reader.decode.pages import FieldReading, PageReading
from sheet_reader.reasons import Code, because, from_json, to_json
from sheet_reader.record.history.loading import LATEST, superseded
from sheet_reader.record.history.photos import insert_row
from sheet_reader.record.history.sheets import standing, stands
from sheet_reader.record.history.states import ACCEPTED
from sheet_reader.record.store import schema
from sheet_reader.study.days import now

if TYPE_CHECKING:
    from sheet_reader.record.history.found import FoundPage

AT_A_TIME = 500
AS_FOUND = (
    "identified_by", "px_per_mm", "blur_mm", "contrast", "hidden_boxes", "glare_share", "advice",
    "site", "visit_date", "threshold", "evidence",
)  # fmt: skip
"""Columns of a run that hold what a page says under the same name."""
OF_TIME = frozenset({Code.IN_FUTURE, Code.SEASON_NOT_BEGUN})
"""Doubts that only the day of the reading raised."""
MAY_LIFT = OF_TIME | {Code.DAY_OR_MONTH}
"""Doubts that go where more is known of the day or the site, with no word of the study changed."""


@dataclass(frozen=True, slots=True)
class KeptPage:
    """A page as last read: by ``run_id``, with ``site`` and ``visit_date`` as accepted by it.
    ``source`` is the run that has its evidence, ``read_at`` its time (UTC, ISO 8601); ``under`` the
    rules under which it was last decoded.
    ``doubts`` are those of :data:`MAY_LIFT` for which it is asked about.
    """

    page_instance_id: int
    photo_id: int
    layout: str
    run_id: int
    source: int
    under: str
    threshold: float
    site: str | None
    visit_date: str | None
    read_at: str
    doubts: frozenset[Code] = frozenset()


@dataclass(frozen=True, slots=True)
class Change:
    """A field that is read otherwise now; ``decided`` where a person's decision stands."""

    page: KeptPage
    before: FieldReading
    after: FieldReading
    decided: bool


def add_run(
    connection: Connection, page_instance_id: int, page: FoundPage, model: str, attempt: int
) -> None:
    """Keep one reading of a page by its photo."""
    sure = last_sure(connection, [page_instance_id]).get(page_instance_id, {})
    same = {column: getattr(page, column) for column in AS_FOUND}
    values = same | {
        "page_instance_id": page_instance_id,
        "attempt": attempt,
        "at": now(),
        "program": __version__,
        "model": model,
        "outline": json.dumps(page.outline),
    }
    pictures = {
        f.reading.field: {
            "corners": json.dumps(f.corners),
            "boxes_png": f.boxes_png,
            "context_png": f.context_png,
        }
        for f in page.fields
    }
    insert_run(connection, values, not_unasked([f.reading for f in page.fields], sure), pictures)
    if page.decoded_under is not None:
        note_under(connection, {page_instance_id: page.decoded_under})


def insert_run(
    connection: Connection,
    values: Mapping[str, Any],
    fields: Sequence[FieldReading],
    pictures: Mapping[str, Mapping[str, Any]],
) -> None:
    """Add a run with these ``values`` of its columns, and its readings; ``pictures`` has the
    columns with pictures by field.
    """
    run = insert_row(connection, schema.reading_runs, **values)
    none: Mapping[str, Any] = {"corners": "[]", "boxes_png": b"", "context_png": b""}
    rows: list[dict[str, Any]] = [
        {
            **pictures.get(f.field, none),
            "run_id": run,
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
    query = (
        select(k.page_instance_id, r.field, r.value)
        .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
        .where(r.status.in_(ACCEPTED))
        .order_by(k.id)
    )
    found: dict[int, dict[str, str | None]] = {}
    for row in _some_at_a_time(connection, query, k.page_instance_id, page_instances):
        found.setdefault(row.page_instance_id, {})[row.field] = row.value
    return found


def _some_at_a_time(
    connection: Connection, query: Select[Any], column: Any, among: Sequence[int]
) -> Iterator[Row[Any]]:
    """The rows of a query with this column among these numbers."""
    for start in range(0, len(among), AT_A_TIME):
        yield from connection.execute(query.where(column.in_(among[start : start + AT_A_TIME])))


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


def kept_pages(connection: Connection, study: str) -> list[KeptPage]:
    """Every page of the study (its key) that counts and whose evidence was kept, as last read."""
    s, k, r = schema.page_instances.c, schema.reading_runs.c, schema.readings.c
    with_evidence = select(func.max(k.id)).where(k.evidence.is_not(None))
    source = with_evidence.group_by(k.page_instance_id)
    columns = select(k.page_instance_id, k.id, k.at).where(k.id.in_(source))
    sources = {row.page_instance_id: row for row in connection.execute(columns)}
    said = or_(*(r.reasons.contains(f'"{code.value}"', autoescape=True) for code in MAY_LIFT))
    doubts = {
        run: frozenset(reason.code for reason in from_json(reasons)) & MAY_LIFT
        for run, reasons in connection.execute(select(r.run_id, r.reasons).where(said))
    }
    query = (
        select(s.id, s.photo_id, s.layout, k.id.label("run"), s.decoded_under, k.threshold, k.site,
               k.visit_date)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .where(k.id.in_(LATEST), s.study == study)
        .order_by(s.id)
    )  # fmt: skip
    gone = superseded(connection) | standing(connection).withdrawn
    return [
        KeptPage(
            row.id, row.photo_id, row.layout, row.run, sources[row.id].id, row.decoded_under,
            row.threshold, row.site, row.visit_date, sources[row.id].at,
            doubts.get(row.run, frozenset()),
        )
        for row in connection.execute(query)
        if row.id in sources and row.id not in gone
    ]  # fmt: skip


def evidence_of_runs(connection: Connection, runs: Sequence[int]) -> dict[int, bytes]:
    """The packed evidence of these runs."""
    k = schema.reading_runs.c
    rows = _some_at_a_time(connection, select(k.id, k.evidence), k.id, runs)
    return {row.id: bytes(row.evidence) for row in rows}


def note_under(connection: Connection, under: Mapping[int, str]) -> None:
    """Note under which rules these page instances are decoded now."""
    noting = update(schema.page_instances).where(schema.page_instances.c.id == bindparam("here"))
    rows = [{"here": number, "now": text} for number, text in under.items()]
    if rows:
        connection.execute(noting.values(decoded_under=bindparam("now")), rows)


def keep_decoded(
    connection: Connection, decoded: Sequence[tuple[KeptPage, PageReading, str, str]]
) -> list[Change]:
    """Keep pages decoded anew: each with its reading, the rules it was decoded under and the model.

    Only a page of which a field is read otherwise gets another run, with the pictures of the run
    that its evidence is from, and only where it was not read meanwhile by another process. Gives
    what changed.
    """
    d, k, r = schema.decisions.c, schema.reading_runs.c, schema.readings.c
    among = [page.page_instance_id for page, *_ in decoded]
    last = connection.execute(
        select(schema.reading_runs).where(k.id.in_(LATEST.where(k.page_instance_id.in_(among))))
    )
    latest = {run.id: run for run in last}
    decoded = [one for one in decoded if one[0].run_id in latest]
    instances = [page.page_instance_id for page, *_ in decoded]
    before: dict[int, dict[str, FieldReading]] = {}
    for run, field, value, confidence, status, reasons, *runner_up in connection.execute(
        select(
            r.run_id, r.field, r.value, r.confidence, r.status, r.reasons, r.runner_up,
            r.runner_up_confidence,
        ).where(r.run_id.in_(page.run_id for page, *_ in decoded))
    ):  # fmt: skip
        reading = FieldReading(field, value, confidence, status, from_json(reasons), *runner_up)
        before.setdefault(run, {})[field] = reading
    held = select(d.page_instance_id, d.field).where(
        d.page_instance_id.in_(instances), stands(schema.decisions)
    )
    decided = {(page, field) for page, field in connection.execute(held)}
    sure = last_sure(connection, instances)
    changes: list[Change] = []
    for page, found, _, model in decoded:
        fields = not_unasked(found.fields, sure.get(page.page_instance_id, {}))
        former = before.get(page.run_id, {})
        if {f.field: f for f in fields} != former:
            anew = {
                "at": now(),
                "program": __version__,
                "model": model,
                "site": found.site,
                "visit_date": found.visit_date,
                "threshold": found.threshold,
                "evidence": None,
                "decoded_from": page.source,
            }
            columns = dict(latest[page.run_id]._mapping)
            del columns["id"]
            insert_run(connection, columns | anew, fields, {})
        changes += [
            Change(page, was, f, (page.page_instance_id, f.field) in decided)
            for f in fields
            if (was := former.get(f.field)) and (f.value, f.status) != (was.value, was.status)
        ]
    note_under(connection, {page.page_instance_id: under for page, _, under, _ in decoded})
    return changes
