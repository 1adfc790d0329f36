"""The visits of a record, kept between looks: an answer makes only its own visit anew.

What a count says matters to its own visit only; a decision about a site or date may join photos
anywhere, so after one all is put together again.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from sqlalchemy import Connection, func, select

from sheet_reader.record.history import loading
from sheet_reader.record.history.meaning_answers import under_present_names
from sheet_reader.record.history.states import Thresholds, VisitState
from sheet_reader.record.history.visits import visits_of
from sheet_reader.record.store import schema
from sheet_reader.study.study import Study


class Stamp(NamedTuple):
    """Changes whenever a look would find something else: how many decisions about fields there are
    and the last one's id, and the same of all else that is looked at. It is only ever added to,
    names of forgotten photos apart.
    """

    decided: int
    last: int
    others: tuple[object, ...]

    @classmethod
    def of(cls, connection: Connection) -> Stamp:
        """The stamp of the record now."""
        columns = (
            schema.decisions.c.id, schema.reading_runs.c.id, schema.sheet_decisions.c.id,
            schema.meanings.c.id, schema.photos.c.forgotten_at,
        )  # fmt: skip
        counts = (select(func.count(column), func.max(column)) for column in columns)
        (decided, last), *others = (tuple(connection.execute(query).one()) for query in counts)
        return cls(decided, last or 0, tuple(others))


class Snapshot(NamedTuple):
    """What a look at the record saw."""

    stamp: Stamp
    material: loading.Material
    visits: list[VisitState]


class KeptVisits:
    """The visits as of the last look. What has not changed since is the same object."""

    def __init__(self, study: Study, thresholds: Thresholds) -> None:
        self._study, self._thresholds = study, thresholds
        self._last: Snapshot | None = None

    def look(self, connection: Connection) -> Snapshot:
        """The visits as they stand now."""
        stamp, before = Stamp.of(connection), self._last
        if before is None or before.stamp != stamp:
            now = None if before is None else self._after(connection, before, stamp)
            self._last = before = now or self._anew(connection, before, stamp)
        return before

    def _anew(self, connection: Connection, before: Snapshot | None, stamp: Stamp) -> Snapshot:
        material = loading.load_material(connection, self._study)
        known = {_place(v): v for v in before.visits} if before else {}
        visits = material.visits(self._study, self._thresholds)
        return Snapshot(
            stamp, material, [known[p] if known.get(p := _place(v)) == v else v for v in visits]
        )

    def _after(self, connection: Connection, before: Snapshot, stamp: Stamp) -> Snapshot | None:
        """The look after decisions about counts alone; None where more has happened."""
        d, study = schema.decisions.c, self._study
        query = select(d.page_instance_id, d.field).where(d.id > before.stamp.last)
        rows = connection.execute(query).all()
        if before.stamp.others != stamp.others or len(rows) != stamp.decided - before.stamp.decided:
            return None
        if any((spec := study.spec(row.field)) is None or spec.kind.is_key for row in rows):
            return None
        touched, visits = {row.page_instance_id for row in rows}, list(before.visits)
        for at, visit in enumerate(visits):
            pages = {page.page_instance_id for page in visit.pages}
            if not touched & pages:
                continue
            anew = self._of_pages(connection, before.material, pages)
            if [_place(v) for v in anew] != [_place(visit)]:  # of a typed page nothing may be left
                return None
            visits[at] = anew[0]
            touched -= pages
        return None if touched else Snapshot(stamp, before.material, visits)

    def _of_pages(
        self, connection: Connection, material: loading.Material, numbers: Collection[int]
    ) -> list[VisitState]:
        """The visits that these pages are."""
        decided = loading.load_decisions(connection, numbers)
        _, decided = under_present_names(material.meanings, [], decided)
        pages = [page for page in material.pages if page.page_instance_id in numbers]
        reads = [read for number in sorted(numbers) for read in material.reads.get(number, ())]
        return visits_of(self._study, pages, reads, decided, self._thresholds)


def _place(visit: VisitState) -> tuple[str, str, frozenset[int]]:
    return visit.site, visit.visit_date, frozenset(p.page_instance_id for p in visit.pages)
