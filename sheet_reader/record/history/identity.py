"""What of a visit stays the same whatever is put right in it, and when something last changed.

A page bears the identity that it was kept with. A visit bears that of the page whose site and date
were both known first, of all pages that are its own now, those set aside too: so it keeps it when
a better photo takes a page's place, when more pages come in or wait, and when all of them move to
another site or day; and since a page is in one visit only, no two ever share one. Where two visits
turn out to be one, the earlier identity stays.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, case, func, select

from sheet_reader.record.history.sheets import standing
from sheet_reader.record.history.states import FieldState, VisitState
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.study import Study

Moment = tuple[float, float]
"""A place in the one sequence of runs and decisions: the last run, then the last decision."""
NEVER: Moment = (float("inf"), 0.0)
KEYS = ("site", "date")


@dataclass(frozen=True, slots=True)
class Identified:
    """A visit's ``identity``, and when each of its fields last changed, in its value or its place
    (UTC, ISO 8601).
    """

    identity: str
    modified: dict[str, str]


def identified(record: Record, visits: Sequence[VisitState]) -> list[Identified]:
    """The identity of each visit, and when its fields changed."""
    with record.reading() as connection:
        known = PageTimes(connection, record.study)
        any_aside = bool(standing(connection).aside)
    aside: dict[tuple[str, str], list[int]] = defaultdict(list)
    for visit in record.state_aside() if any_aside else ():
        aside[visit.site, visit.visit_date] += (p.page_instance_id for p in visit.pages)
    found = []
    for visit in visits:
        pages = [page.page_instance_id for page in visit.pages]
        if visit.site and visit.visit_date:
            pages += aside[visit.site, visit.visit_date]
        moved = max((known.moved[page] for page in pages), default="")
        fields: dict[str, list[FieldState]] = defaultdict(list)
        for state in visit.fields:
            fields[state.field].append(state)
        modified = {name: max(moved, known.changed(states)) for name, states in fields.items()}
        found.append(Identified(known.identity[min(pages, key=known.settled)], modified))
    return found


class PageTimes:
    """What the record knows of the identity of pages, of when they got a place, and of changes."""

    def __init__(self, connection: Connection, study: Study) -> None:
        s = schema.page_instances.c
        rows = connection.execute(select(s.id, s.photo_id, s.identity, s.sheet)).all()
        self.identity = {row.id: row.identity for row in rows}
        self._keys = dict(zip(study.keys, KEYS, strict=True))
        self._since: dict[tuple[int, str], Moment] = {
            (row.id, "site"): (0.0, 0.0) for row in rows if row.sheet != BLANK
        }
        self.moved: defaultdict[int, str] = defaultdict(str)
        self._placed: defaultdict[int, str] = defaultdict(str)
        self._said: defaultdict[tuple[int, str], str] = defaultdict(str)
        self._read: defaultdict[tuple[int, str], str] = defaultdict(str)
        self._look_at_runs(connection)
        self._look_at_decisions(connection)
        by_photo: defaultdict[int, list[int]] = defaultdict(list)
        for row in rows:
            by_photo[row.photo_id].append(row.id)
        self._look_at_sheets(connection, by_photo)

    def settled(self, page: int) -> tuple[Moment, int]:
        """When both site and date of a page were known for the first time; ties by its number."""
        return max(self._since.get((page, kind), NEVER) for kind in KEYS), page

    def changed(self, states: Iterable[FieldState]) -> str:
        """When a field of a visit, as all its photos show it, last changed."""
        times = [""]
        for state in states:
            place = state.page_instance_id, state.field
            times.append(self._said[place])
            if state.is_current or state.needs_review:
                times += [self._read[place], self._placed[place[0]]]
        return max(times)

    def _first(self, page: int, kind: str, moment: Moment) -> None:
        self._since[page, kind] = min(moment, self._since.get((page, kind), NEVER))

    def _look_at_runs(self, connection: Connection) -> None:
        k, r = schema.reading_runs.c, schema.readings.c
        site, day = (func.min(case((c.is_not(None), k.id))) for c in (k.site, k.visit_date))
        pages = select(k.page_instance_id).group_by(k.page_instance_id)
        for page, *runs, at in connection.execute(pages.add_columns(site, day, func.min(k.at))):
            for kind, run in zip(KEYS, runs, strict=True):
                if run is not None:
                    self._first(page, kind, (run, 0.0))
            self._placed[page] = at
        was: dict[tuple[int, str], tuple[str | None, str]] = {}
        later = (
            select(k.page_instance_id, r.field, r.value, r.status, k.at)
            .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
            .where(k.page_instance_id.in_(pages.having(func.count(k.id) > 1)))
            .order_by(k.id)
        )
        for page, field, value, status, at in connection.execute(later):
            if was.get((page, field)) != (value, status):
                was[page, field] = value, status
                self._read[page, field] = at
                if field in self._keys:
                    self._placed[page] = max(at, self._placed[page])

    def _look_at_decisions(self, connection: Connection) -> None:
        d = schema.decisions.c
        query = select(
            d.page_instance_id, d.field, func.min(d.id), func.min(d.runs_before), func.max(d.at)
        ).group_by(d.page_instance_id, d.field)
        for page, field, first, runs, at in connection.execute(query):
            self._said[page, field] = at
            if field in self._keys:
                self._first(page, self._keys[field], (runs, first))
                self.moved[page] = max(at, self.moved[page])

    def _look_at_sheets(self, connection: Connection, by_photo: Mapping[int, list[int]]) -> None:
        c = schema.sheet_decisions.c
        query = select(
            c.photo_id, c.page_instance_id, c.kind, c.runs_before, c.decisions_before, c.at
        )
        for photo, own, kind, runs, decisions, at in connection.execute(query.order_by(c.id)):
            for page in by_photo[photo] if own is None else [own]:
                self.moved[page] = max(at, self.moved[page])
                if kind in KEYS:
                    self._first(page, kind, (runs, decisions))
