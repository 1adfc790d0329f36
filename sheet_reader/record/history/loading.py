"""Rows of the record as what :mod:`sheet_reader.record.history.visits` puts together."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select

from sheet_reader.reasons import from_json
from sheet_reader.record.history.answers import told_from_json
from sheet_reader.record.history.meaning import Meanings
from sheet_reader.record.history.meaning_answers import load_meanings, under_present_names
from sheet_reader.record.history.sheets import standing, stands
from sheet_reader.record.history.states import (
    ACCEPTED,
    Decision,
    PageObservation,
    Rival,
    StoredReading,
    Thresholds,
    VisitState,
)
from sheet_reader.record.history.visits import visits_of
from sheet_reader.record.store import schema
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name

_RUN = schema.reading_runs.c
LATEST = select(func.max(_RUN.id)).group_by(_RUN.page_instance_id)
"""The ids of the latest run of every page instance."""
Frame = tuple[int, int]
"""Photo and picture in it."""


@dataclass(frozen=True, slots=True)
class Material:
    """What visits are put together from: pages, readings by page instance, decisions, meanings."""

    pages: list[PageObservation]
    reads: dict[int, list[StoredReading]]
    decided: list[Decision]
    meanings: Meanings

    def visits(self, study: Study, thresholds: Thresholds) -> list[VisitState]:
        """Every visit, under the study file of today."""
        reads = (read for on_page in self.reads.values() for read in on_page)
        return visits_of(study, self.pages, reads, self.decided, thresholds)


def load_material(connection: Connection, study: Study, *, aside: bool = False) -> Material:
    """What is known of every page, or with ``aside`` of every one that was set aside."""
    pages, reads = load_pages(connection, study, aside=aside), load_readings(connection)
    meanings = load_meanings(connection, study)
    reads, decided = under_present_names(meanings, reads, load_decisions(connection))
    by_page: defaultdict[int, list[StoredReading]] = defaultdict(list)
    for read in reads:
        by_page[read.page_instance_id].append(read)
    return Material(pages, by_page, decided, meanings)


def load_visits(
    connection: Connection, study: Study, thresholds: Thresholds, *, aside: bool = False
) -> list[VisitState]:
    """Every visit as it stands now, under the study file of today; with ``aside`` instead those
    that the sheets set aside would be.
    """
    return load_material(connection, study, aside=aside).visits(study, thresholds)


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
    query = (
        select(
            s.id, s.photo_id, s.frame, s.layout, s.sheet, s.page, k.site, k.visit_date, k.px_per_mm,
            k.blur_mm, k.hidden_boxes, k.advice, k.model,
        )
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .where(k.id.in_(LATEST), s.study == study.key)
        .order_by(s.id)
    )  # fmt: skip
    gone, decided = superseded(connection), standing(connection)
    return [
        replace(
            PageObservation(number, photo, neutral_name(photo), *read),
            decided_site=decided.sites.get(number), decided_date=decided.dates.get(number),
        )
        for number, photo, *read in connection.execute(query)
        if number not in gone | decided.withdrawn and (number in decided.aside) == aside
    ]  # fmt: skip


def load_readings(connection: Connection) -> list[StoredReading]:
    """The fields of the latest run of every page instance, without their pictures."""
    k, r = schema.reading_runs.c, schema.readings.c
    query = (
        select(
            r.id, k.page_instance_id, r.field, r.value, r.confidence, r.status, r.reasons,
            r.runner_up, r.runner_up_confidence,
        )
        .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
        .where(k.id.in_(LATEST))
        .order_by(r.id)
    )  # fmt: skip
    first_sure = _first_sure(connection)
    return [
        StoredReading(
            field, value, confidence, status, from_json(reasons) if reasons else (), *runner_up,
            reading_id=number, page_instance_id=page, first_sure=first_sure.get((page, field)),
        )
        for number, page, field, value, confidence, status, reasons, *runner_up
        in connection.execute(query)
    ]  # fmt: skip


def _first_sure(connection: Connection) -> dict[tuple[int, str], tuple[int, str | None]]:
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


def load_decisions(connection: Connection, pages: Collection[int] | None = None) -> list[Decision]:
    """The decision that holds for each field of each page instance, or of these ``pages``: the
    latest not taken back.
    """
    d, o = schema.decisions.c, schema.overruled.c
    query = select(
        d.id, d.page_instance_id, d.field, d.reading_id, d.kind, d.value, d.by, d.blind, d.told
    ).where(stands(schema.decisions))
    over = select(o.decision_id, o.page_instance_id, o.value)
    if pages is not None:
        query = query.where(d.page_instance_id.in_(pages))
    rows = connection.execute(query.order_by(d.id))
    holds = {(row.page_instance_id, row.field): row for row in rows}
    if pages is not None:
        over = over.where(o.decision_id.in_([row.id for row in holds.values()]))
    overruled: defaultdict[int, set[Rival]] = defaultdict(set)
    for row in connection.execute(over):
        overruled[row.decision_id].add(Rival(row.page_instance_id, row.value))
    return [
        Decision(*row[:8], frozenset(overruled[row.id]), told_from_json(row.told))
        for row in holds.values()
    ]


def superseded(connection: Connection) -> set[int]:
    """Page instances that the last reading of their photo took for another page.

    A page that was not seen again and has no other one in its place stays: it may be refused now
    because its site left the list or the layout changed. Whatever a person decided on stays too.
    """
    s, k = schema.page_instances.c, schema.reading_runs.c
    query = (
        select(k.page_instance_id, s.photo_id, s.frame, k.attempt, k.outline)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .order_by(k.id)
    )
    last: defaultdict[int, int] = defaultdict(int)
    latest: dict[int, tuple[Frame, int, str]] = {}
    for page, photo, frame, attempt, outline in connection.execute(query):
        last[photo] = max(last[photo], attempt)
        latest[page] = (photo, frame), attempt, outline
    newest: defaultdict[Frame, list[str]] = defaultdict(list)
    for place, attempt, outline in latest.values():
        if attempt == last[place[0]]:
            newest[place].append(outline)
    gone = {
        page
        for page, (place, attempt, outline) in latest.items()
        if attempt < last[place[0]] and any(_overlap(outline, new) for new in newest[place])
    }
    for table in (schema.decisions, schema.sheet_decisions) if gone else ():
        decided = table.c.page_instance_id
        gone -= set(connection.scalars(select(decided).where(decided.is_not(None)).distinct()))
    return gone


def _overlap(one: str, other: str) -> bool:
    """Whether the middle of one page lies on the other; so too where an outline is not known."""
    first, second = (np.array(json.loads(text), np.float64).reshape(-1, 2) for text in (one, other))
    if len(first) < 3 or len(second) < 3:
        return True
    return _inside(first.mean(axis=0), second) or _inside(second.mean(axis=0), first)


def _inside(point: NDArray[np.float64], corners: NDArray[np.float64]) -> bool:
    """Whether a point lies within a convex polygon (n, 2), whichever way round it goes."""
    (edge_x, edge_y), (x, y) = (np.roll(corners, -1, axis=0) - corners).T, (point - corners).T
    side = edge_x * y - edge_y * x
    return bool((side >= 0).all() or (side <= 0).all())
