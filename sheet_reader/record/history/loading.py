"""Rows of the record as the values that :mod:`sheet_reader.record.history.visits` puts together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, replace

from sqlalchemy import Connection, func, select

from sheet_reader.reasons import from_json
from sheet_reader.record.history.answers import told_from_json
from sheet_reader.record.history.meaning import Meanings
from sheet_reader.record.history.meaning_answers import load_meanings, under_present_names
from sheet_reader.record.history.model import Rival, Thresholds
from sheet_reader.record.history.naming import neutral_name
from sheet_reader.record.history.revalidation import visits_now
from sheet_reader.record.history.sheets import standing
from sheet_reader.record.history.states import (
    ACCEPTED,
    Decision,
    PageObservation,
    StoredReading,
    Visit,
)
from sheet_reader.record.history.superseded import superseded
from sheet_reader.record.history.typed import without_undone
from sheet_reader.record.store import schema
from sheet_reader.study.model import Study

UNDO = "undo"


Stamp = tuple[object, ...]


def stamp(connection: Connection) -> Stamp:
    """Changes whenever :func:`load_visits` would give something else.

    What it reads is only ever added to, names of forgotten photos apart.
    """
    k, d, p = schema.reading_runs.c, schema.decisions.c, schema.photos.c
    s, n = schema.sheet_decisions.c, schema.meanings.c
    queries = (
        select(func.count(k.id), func.max(k.id)),
        select(func.count(d.id), func.max(d.id)),
        select(func.count(s.id), func.max(s.id)),
        select(func.count(n.id), func.max(n.id)),
        select(func.count(p.forgotten_at), func.max(p.forgotten_at)),
    )
    return tuple(value for query in queries for value in connection.execute(query).one())


def all_but_decisions(seen: Stamp) -> Stamp:
    """The stamp without what it says of decisions about fields."""
    return (*seen[:2], *seen[4:])


def decisions_in(seen: Stamp) -> tuple[int | None, int | None]:
    """How many decisions about fields there were, and the last one's id; None: none."""
    count, last = seen[2:4]
    return (
        count if isinstance(count, int) else None,
        last if isinstance(last, int) else None,
    )


@dataclass(frozen=True, slots=True)
class Material:
    """What visits are put together from: pages, readings by page instance, decisions, meanings.
    """

    pages: list[PageObservation]
    reads: dict[int, list[StoredReading]]
    decided: list[Decision]
    meanings: Meanings


def load_material(connection: Connection, study: Study, *, aside: bool = False) -> Material:
    """What is known of every page, or with ``aside`` of every one that was set aside."""
    pages, reads = load_pages(connection, study, aside=aside), load_readings(connection)
    meanings = load_meanings(connection, study)
    reads, decided = under_present_names(meanings, reads, load_decisions(connection))
    held = {(d.page_instance_id, d.field) for d in decided}
    pages, reads = without_undone(pages, reads, held)
    by_page: defaultdict[int, list[StoredReading]] = defaultdict(list)
    for read in reads:
        by_page[read.page_instance_id].append(read)
    return Material(pages, by_page, decided, meanings)


def put_together(material: Material, study: Study, thresholds: Thresholds) -> list[Visit]:
    """Every visit, under the study file of today."""
    reads = [read for on_page in material.reads.values() for read in on_page]
    return visits_now(study, material.pages, reads, material.decided, thresholds)


def load_visits(
    connection: Connection, study: Study, thresholds: Thresholds, *, aside: bool = False
) -> list[Visit]:
    """Every visit as it stands now, under the study file of today; with ``aside`` instead those
    that the sheets set aside would be.
    """
    return put_together(load_material(connection, study, aside=aside), study, thresholds)


def load_pages(
    connection: Connection, study: Study, *, aside: bool = False
) -> list[PageObservation]:
    """Every page of the study seen in a photo, with its latest run, but for those that were set
    aside; with ``aside`` those instead.

    When a photo is read again and a page in it is now taken for another one, the former page is
    left out, unless a person has decided something on it. Photos bear their neutral names, so that
    no file name gets into a reason or a table.
    """
    s, k = schema.page_instances.c, schema.reading_runs.c
    latest = select(func.max(k.id).label("id")).group_by(k.page_instance_id).subquery()
    query = (
        select(
            s.id,
            s.photo_id,
            s.frame,
            s.layout,
            s.sheet,
            s.page,
            k.site,
            k.visit_date,
            k.px_per_mm,
            k.blur_mm,
            k.hidden_boxes,
            k.advice,
            k.model,
        )
        .select_from(schema.reading_runs)
        .join(latest, latest.c.id == k.id)
        .join(schema.page_instances, s.id == k.page_instance_id)
        .where(s.study == study.key)
        .order_by(s.id)
    )
    gone, decided = superseded(connection), standing(connection)
    return [
        replace(
            PageObservation(row.id, row.photo_id, neutral_name(row.photo_id), *tuple(row)[2:]),
            decided_site=decided.sites.get(row.id),
            decided_date=decided.dates.get(row.id),
        )
        for row in connection.execute(query)
        if row.id not in gone | decided.withdrawn and (row.id in decided.aside) == aside
    ]


def load_readings(connection: Connection) -> list[StoredReading]:
    """The fields of the latest run of every page instance, without their pictures."""
    k, r = schema.reading_runs.c, schema.readings.c
    latest = select(func.max(k.id).label("id")).group_by(k.page_instance_id).subquery()
    query = (
        select(
            r.id,
            k.page_instance_id,
            r.field,
            r.value,
            r.confidence,
            r.status,
            r.reasons,
            r.runner_up,
            r.runner_up_confidence,
        )
        .select_from(schema.readings)
        .join(schema.reading_runs, k.id == r.run_id)
        .join(latest, latest.c.id == k.id)
        .order_by(r.id)
    )
    first_sure = load_first_sure(connection)
    return [
        StoredReading(
            field, value, confidence, status, from_json(reasons) if reasons else (),
            runner_up, runner_up_confidence, reading_id=reading, page_instance_id=page,
            first_sure=first_sure.get((page, field)),
        )
        for (
            reading, page, field, value, confidence, status, reasons, runner_up,
            runner_up_confidence,
        ) in connection.execute(query)
    ]  # fmt: skip


def load_first_sure(connection: Connection) -> dict[tuple[int, str], tuple[int, str | None]]:
    """The first sure reading, with its value, of the fields of pages that were read several times,
    by page instance and field.
    """
    k, r = schema.reading_runs.c, schema.readings.c
    several = select(k.page_instance_id).group_by(k.page_instance_id).having(func.count(k.id) > 1)
    query = (
        select(r.id, k.page_instance_id, r.field, r.value)
        .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
        .where(k.page_instance_id.in_(several), r.status.in_(ACCEPTED))
        .order_by(r.id.desc())
    )
    return {
        (page, field): (reading, value) for reading, page, field, value in connection.execute(query)
    }


def load_decisions(
    connection: Connection, pages: Collection[int] | None = None
) -> list[Decision]:
    """The decision that holds for each field of each page instance, or of these ``pages``: the
    latest not taken back.
    """
    d = schema.decisions.c
    undone = select(d.undoes).where(d.undoes.is_not(None))
    query = (
        select(
            d.id, d.page_instance_id, d.field, d.reading_id, d.kind, d.value, d.by, d.blind,
            d.told,
        )
        .where(d.kind != UNDO, d.id.not_in(undone))
        .order_by(d.id)
    )  # fmt: skip
    if pages is not None:
        query = query.where(d.page_instance_id.in_(pages))
    holds = {(row.page_instance_id, row.field): row for row in connection.execute(query)}
    only = None if pages is None else [row.id for row in holds.values()]
    overruled = _load_overruled(connection, only)
    return [
        Decision(*row[:8], frozenset(overruled[row.id]), told_from_json(row.told))
        for row in holds.values()
    ]


def _load_overruled(
    connection: Connection, decisions: Collection[int] | None
) -> defaultdict[int, set[Rival]]:
    o = schema.overruled.c
    found: defaultdict[int, set[Rival]] = defaultdict(set)
    query = select(o.decision_id, o.page_instance_id, o.value)
    if decisions is not None:
        query = query.where(o.decision_id.in_(decisions))
    for row in connection.execute(query):
        found[row.decision_id].add(Rival(row.page_instance_id, row.value))
    return found
