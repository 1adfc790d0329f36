"""The visits as they stand, kept between looks: an answer makes only its own visit anew.

What a count says matters to its own visit only; a decision about a site or date may join photos
anywhere, so after one all is put together again.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from sheet_reader.record.history import loading
from sheet_reader.record.history.meaning_answers import under_present_names
from sheet_reader.record.history.revalidation import visits_now
from sheet_reader.record.history.states import Visit
from sheet_reader.record.history.typed import TYPED
from sheet_reader.record.store import schema

if TYPE_CHECKING:
    from sheet_reader.record.store.store import Record


@dataclass(frozen=True, slots=True)
class _Seen:
    """What a look saw: its stamp, and the page material from which visits are put together."""

    stamp: loading.Stamp
    material: loading.Material
    visits: list[Visit]


class KeptState:
    """The visits of a record. What has not changed since the last look is the same object."""

    def __init__(self, record: Record) -> None:
        self._record = record
        self._seen: _Seen | None = None

    def visits(self) -> list[Visit]:
        """Every visit with all its fields as they stand now."""
        with self._record.reading() as connection:
            stamp = loading.stamp(connection)
            if self._seen is None or self._seen.stamp != stamp:
                self._seen = self._after(connection, stamp) or self._anew(connection, stamp)
            return list(self._seen.visits)

    def known(self) -> list[Visit]:
        """The visits as of the last look, without another one."""
        return self.visits() if self._seen is None else self._seen.visits

    @property
    def last_decision(self) -> int | None:
        """The last decision that the visits know of; None before the first look."""
        return None if self._seen is None else loading.decisions_in(self._seen.stamp)[1] or 0

    def _anew(self, connection: Connection, stamp: loading.Stamp) -> _Seen:
        record = self._record
        material = loading.load_material(connection, record.study)
        visits = loading.put_together(material, record.study, record.thresholds)
        before = {_place(v): v for v in self._seen.visits} if self._seen else {}
        same = [before[p] if (p := _place(v)) in before and before[p] == v else v for v in visits]
        return _Seen(stamp, material, same)

    def _after(self, connection: Connection, stamp: loading.Stamp) -> _Seen | None:
        """The state after decisions about counts alone; None where more has happened."""
        seen = self._seen
        if seen is None or loading.all_but_decisions(seen.stamp) != loading.all_but_decisions(
            stamp
        ):
            return None
        touched = self._touched(connection, seen.stamp, stamp)
        if touched is None:
            return None
        visits = list(seen.visits)
        for at, visit in enumerate(visits):
            pages = {page.page_instance_id for page in visit.pages}
            if not touched & pages:
                continue
            if any(page.layout == TYPED for page in visit.pages):  # taken back, it is gone
                return None
            anew = self._visit(connection, seen.material, pages)
            if len(anew) != 1 or _place(anew[0]) != _place(visit):
                return None
            visits[at] = anew[0]
            touched -= pages
        return None if touched else _Seen(stamp, seen.material, visits)

    def _touched(
        self, connection: Connection, before: loading.Stamp, now: loading.Stamp
    ) -> set[int] | None:
        """The pages with decisions about counts since; None where other fields were decided."""
        d = schema.decisions.c
        count, last = loading.decisions_in(before)
        query = select(d.page_instance_id, d.field).where(d.id > (last or 0))
        rows = connection.execute(query).all()
        keys = {h.name for h in self._record.study.header if h.kind in ("site", "date")}
        if count is None or len(rows) != (loading.decisions_in(now)[0] or 0) - count:
            return None
        known = {spec.name for spec in self._record.study.fields}
        if any(row.field in keys or row.field not in known for row in rows):
            return None
        return {row.page_instance_id for row in rows}

    def _visit(
        self, connection: Connection, material: loading.Material, pages: Collection[int]
    ) -> Sequence[Visit]:
        """The visits that these pages are."""
        record = self._record
        decided = loading.load_decisions(connection, pages)
        _, decided = under_present_names(material.meanings, [], decided)
        return visits_now(
            record.study,
            [page for page in material.pages if page.page_instance_id in pages],
            [read for number in sorted(pages) for read in material.reads.get(number, ())],
            decided,
            record.thresholds,
        )


def _place(visit: Visit) -> tuple[str, str, frozenset[int]]:
    return visit.site, visit.visit_date, frozenset(p.page_instance_id for p in visit.pages)
