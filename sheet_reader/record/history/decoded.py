"""Pages decoded anew, without their photos, from what was kept of them.

Every function takes a connection inside a transaction.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, func, or_, select, update

from sheet_reader import __version__
from sheet_reader.decode.pages import FieldReading, PageReading
from sheet_reader.reasons import Code, from_json
from sheet_reader.record.history.model import now
from sheet_reader.record.history.runs import AT_A_TIME, insert_run, last_sure, not_unasked
from sheet_reader.record.history.sheets import standing
from sheet_reader.record.history.superseded import superseded
from sheet_reader.record.store import schema

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


def kept_pages(connection: Connection, study: str) -> list[KeptPage]:
    """Every page of the study (its key) that counts and whose evidence was kept, as last read."""
    s, k = schema.page_instances.c, schema.reading_runs.c
    latest = select(func.max(k.id)).group_by(k.page_instance_id)
    with_evidence = select(k.page_instance_id, func.max(k.id)).where(k.evidence.is_not(None))
    found = connection.execute(with_evidence.group_by(k.page_instance_id))
    sources = {row[0]: row[1] for row in found}
    times = {row.id: row.at for row in connection.execute(select(k.id, k.at))}
    doubts = _doubts(connection)
    query = (
        select(s.id, s.photo_id, s.layout, k.id.label("run"), s.decoded_under, k.threshold, k.site,
               k.visit_date)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .where(k.id.in_(latest), s.study == study)
        .order_by(s.id)
    )  # fmt: skip
    gone = superseded(connection) | standing(connection).withdrawn
    return [
        KeptPage(
            row.id, row.photo_id, row.layout, row.run, sources[row.id], row.decoded_under,
            row.threshold, row.site, row.visit_date, times[sources[row.id]],
            doubts.get(row.run, frozenset()),
        )
        for row in connection.execute(query)
        if row.id in sources and row.id not in gone
    ]  # fmt: skip


def _doubts(connection: Connection) -> dict[int, frozenset[Code]]:
    """By run, the reasons of :data:`MAY_LIFT`."""
    r = schema.readings.c
    said = or_(*(r.reasons.contains(f'"{code.value}"', autoescape=True) for code in MAY_LIFT))
    rows = connection.execute(select(r.run_id, r.reasons).where(said))
    return {row.run_id: frozenset(r.code for r in from_json(row.reasons)) & MAY_LIFT
            for row in rows}  # fmt: skip


def evidence_of_runs(connection: Connection, runs: Sequence[int]) -> dict[int, bytes]:
    """The packed evidence of these runs."""
    k = schema.reading_runs.c
    found: dict[int, bytes] = {}
    for start in range(0, len(runs), AT_A_TIME):
        query = select(k.id, k.evidence).where(k.id.in_(runs[start : start + AT_A_TIME]))
        found |= {row.id: bytes(row.evidence) for row in connection.execute(query)}
    return found


def note_under(connection: Connection, under: Mapping[int, str]) -> None:
    """Note under which rules these page instances are decoded now."""
    s = schema.page_instances.c
    noting = update(schema.page_instances).where(s.id == bindparam("here"))
    rows = [{"here": number, "now": text} for number, text in under.items()]
    if rows:
        connection.execute(noting.values(decoded_under=bindparam("now")), rows)


def keep_decoded(
    connection: Connection, decoded: Sequence[tuple[KeptPage, PageReading, str, str]]
) -> list[Change]:
    """Keep pages decoded anew: each with its reading, the rules it was decoded under and the model.

    Only a page of which a field is read otherwise gets another run, and only where it was not read
    meanwhile by another process. Gives what changed.
    """
    latest = _latest(connection, [page.page_instance_id for page, *_ in decoded])
    decoded = [d for d in decoded if latest.get(d[0].page_instance_id) == d[0].run_id]
    instances = [page.page_instance_id for page, *_ in decoded]
    before = _readings(connection, [page.run_id for page, *_ in decoded])
    sure, decided = last_sure(connection, instances), _decided(connection, instances)
    changes: list[Change] = []
    for page, reading, _, model in decoded:
        fields = not_unasked(reading.fields, sure.get(page.page_instance_id, {}))
        former = before.get(page.run_id, {})
        if {f.field: _telling(f) for f in fields} != {n: _telling(f) for n, f in former.items()}:
            _add(connection, page, reading, fields, model)
        changes += [
            Change(page, former[f.field], f, (page.page_instance_id, f.field) in decided)
            for f in fields
            if f.field in former and _seen(f) != _seen(former[f.field])
        ]
    note_under(connection, {page.page_instance_id: under for page, _, under, _ in decoded})
    return changes


def _telling(field: FieldReading) -> tuple[object, ...]:
    """All of a field that is kept."""
    return (
        field.value, field.confidence, field.status, field.reasons, field.runner_up,
        field.runner_up_confidence,
    )  # fmt: skip


def _seen(field: FieldReading) -> tuple[object, ...]:
    """What of a field a person notices."""
    return field.value, field.status


def _latest(connection: Connection, page_instances: Sequence[int]) -> dict[int, int]:
    k = schema.reading_runs.c
    query = select(k.page_instance_id, func.max(k.id)).group_by(k.page_instance_id)
    rows = connection.execute(query.where(k.page_instance_id.in_(page_instances)))
    return {row[0]: row[1] for row in rows}


def _readings(connection: Connection, runs: Sequence[int]) -> dict[int, dict[str, FieldReading]]:
    r = schema.readings.c
    query = select(
        r.run_id, r.field, r.value, r.confidence, r.status, r.reasons, r.runner_up,
        r.runner_up_confidence,
    ).where(r.run_id.in_(runs))  # fmt: skip
    found: dict[int, dict[str, FieldReading]] = {}
    for row in connection.execute(query):
        found.setdefault(row.run_id, {})[row.field] = FieldReading(
            row.field, row.value, row.confidence, row.status, from_json(row.reasons),
            row.runner_up, row.runner_up_confidence,
        )  # fmt: skip
    return found


def _decided(connection: Connection, page_instances: Iterable[int]) -> set[tuple[int, str]]:
    d = schema.decisions.c
    undone = select(d.undoes).where(d.undoes.is_not(None))
    query = select(d.page_instance_id, d.field).where(
        d.page_instance_id.in_(list(page_instances)), d.kind != "undo", d.id.not_in(undone)
    )
    return {(row.page_instance_id, row.field) for row in connection.execute(query)}


def _add(
    connection: Connection,
    page: KeptPage,
    reading: PageReading,
    fields: Sequence[FieldReading],
    model: str,
) -> None:
    """Another run of the page, with the pictures of the run that its evidence is from."""
    k = schema.reading_runs.c
    latest = connection.execute(select(schema.reading_runs).where(k.id == page.run_id)).one()
    values = dict(latest._mapping)
    del values["id"]
    values |= {
        "at": now(),
        "program": __version__,
        "model": model,
        "site": reading.site,
        "visit_date": reading.visit_date,
        "threshold": reading.threshold,
        "evidence": None,
        "decoded_from": page.source,
    }
    insert_run(connection, values, fields, {})
