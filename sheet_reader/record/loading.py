"""Rows of the record as the values that :mod:`sheet_reader.record.effective` puts together."""

from __future__ import annotations

from collections import defaultdict

from sqlalchemy import Connection, func, select

from sheet_reader.record import schema
from sheet_reader.record.in_force import visits_now
from sheet_reader.record.model import Rival
from sheet_reader.record.naming import neutral_name
from sheet_reader.record.standing import Decided, Read, Seen, Visit
from sheet_reader.record.superseded import superseded
from sheet_reader.study.model import Study

UNDO = "undo"


Stamp = tuple[object, ...]


def stamp(connection: Connection) -> Stamp:
    """Changes whenever :func:`load_visits` would give something else.

    What it reads is only ever added to, names of forgotten photos apart.
    """
    k, d, p = schema.looks.c, schema.decisions.c, schema.photos.c
    queries = (
        select(func.count(k.id), func.max(k.id)),
        select(func.count(d.id), func.max(d.id)),
        select(func.count(p.forgotten_at), func.max(p.forgotten_at)),
    )
    return tuple(value for query in queries for value in connection.execute(query).one())


def load_visits(connection: Connection, study: Study) -> list[Visit]:
    """Every visit as it stands now, under the study file of today."""
    seen = load_seen(connection, study)
    return visits_now(study, seen, load_reads(connection), load_decided(connection))


def load_seen(connection: Connection, study: Study) -> list[Seen]:
    """Every page of the study seen in a photo, with its latest look.

    When a photo is read again and a page in it is now taken for another one, the former page is
    left out, unless a person has decided something on it. Photos bear their neutral names, so that
    no file name gets into a reason or a table.
    """
    s, k = schema.sightings.c, schema.looks.c
    latest = select(func.max(k.id).label("id")).group_by(k.sighting_id).subquery()
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
        .select_from(schema.looks)
        .join(latest, latest.c.id == k.id)
        .join(schema.sightings, s.id == k.sighting_id)
        .where(s.study == study.key)
        .order_by(s.id)
    )
    gone = superseded(connection)
    return [
        Seen(row.id, row.photo_id, neutral_name(row.photo_id), *tuple(row)[2:])
        for row in connection.execute(query)
        if row.id not in gone
    ]


def load_reads(connection: Connection) -> list[Read]:
    """The fields of the latest look of every sighting, without their pictures."""
    k, r = schema.looks.c, schema.readings.c
    latest = select(func.max(k.id).label("id")).group_by(k.sighting_id).subquery()
    query = (
        select(
            r.id,
            k.sighting_id,
            r.field,
            r.value,
            r.confidence,
            r.status,
            r.reason,
            r.runner_up,
            r.runner_up_confidence,
        )
        .select_from(schema.readings)
        .join(schema.looks, k.id == r.look_id)
        .join(latest, latest.c.id == k.id)
        .order_by(r.id)
    )
    return [Read(*row) for row in connection.execute(query)]


def load_decided(connection: Connection) -> list[Decided]:
    """The decision that holds for each field of each sighting: the latest not taken back."""
    d = schema.decisions.c
    undone = select(d.undoes).where(d.undoes.is_not(None))
    query = (
        select(d.id, d.sighting_id, d.field, d.reading_id, d.kind, d.value, d.by, d.blind)
        .where(d.kind != UNDO, d.id.not_in(undone))
        .order_by(d.id)
    )
    holds = {(row.sighting_id, row.field): row for row in connection.execute(query)}
    overruled = _load_overruled(connection)
    return [Decided(*row, frozenset(overruled[row.id])) for row in holds.values()]


def _load_overruled(connection: Connection) -> defaultdict[int, set[Rival]]:
    o = schema.overruled.c
    found: defaultdict[int, set[Rival]] = defaultdict(set)
    for row in connection.execute(select(o.decision_id, o.sighting_id, o.value)):
        found[row.decision_id].add(Rival(row.sighting_id, row.value))
    return found
