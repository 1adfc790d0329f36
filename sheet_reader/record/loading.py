"""Rows of the record as the values that :mod:`sheet_reader.record.effective` puts together."""

from __future__ import annotations

from sqlalchemy import Connection, exists, func, or_, select

from sheet_reader.record import schema
from sheet_reader.record.effective import Decided, Read, Seen, Visit, visits_of
from sheet_reader.record.naming import neutral_name
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
    """Every visit as it stands now."""
    seen = load_seen(connection, study)
    return visits_of(study, seen, load_reads(connection), load_decided(connection))


def load_seen(connection: Connection, study: Study) -> list[Seen]:
    """Every page of the study seen in a photo, with its latest look.

    When a photo is read again and a page in it is now taken for another one, the former page is
    left out, unless a person has decided something on it. Photos bear their neutral names, so that
    no file name gets into a reason or a table.
    """
    s, k, d = schema.sightings.c, schema.looks.c, schema.decisions.c
    latest = select(func.max(k.id).label("id")).group_by(k.sighting_id).subquery()
    last_attempt = (
        select(s.photo_id, func.max(k.attempt).label("attempt"))
        .join(schema.looks, k.sighting_id == s.id)
        .group_by(s.photo_id)
        .subquery()
    )
    query = (
        select(
            s.id,
            s.photo_id,
            s.layout,
            s.sheet,
            s.page,
            k.site,
            k.visit_date,
            k.at,
            k.px_per_mm,
            k.blur_mm,
            k.hidden_boxes,
            k.advice,
            k.model,
        )
        .select_from(schema.looks)
        .join(latest, latest.c.id == k.id)
        .join(schema.sightings, s.id == k.sighting_id)
        .join(last_attempt, last_attempt.c.photo_id == s.photo_id)
        .where(s.study == study.key)
        .where(or_(k.attempt == last_attempt.c.attempt, exists().where(d.sighting_id == s.id)))
        .order_by(s.id)
    )
    return [
        Seen(*(row.id, row.photo_id, neutral_name(row.photo_id), *tuple(row)[2:]))
        for row in connection.execute(query)
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
        select(d.id, d.sighting_id, d.field, d.reading_id, d.kind, d.value, d.by, d.at, d.blind)
        .where(d.kind != UNDO, d.id.not_in(undone))
        .order_by(d.id)
    )
    holds = {(row.sighting_id, row.field): Decided(*row) for row in connection.execute(query)}
    return list(holds.values())
