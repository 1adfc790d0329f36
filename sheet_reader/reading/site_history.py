"""A site's earlier counts and the hands it knows, which help to read its next sheet.

Only visits strictly before the sheet's own date count, so that a second photo of a sheet and a
photo that is read again are judged without their own former readings. A batch takes what the record
holds when it begins: its own photos do not count, or their flags would depend on the order in which
they are read.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sheet_reader.decode.hand import FormerSheet, Memory, lately
from sheet_reader.reasons import Code
from sheet_reader.record.history.states import TRUSTED, FieldState, VisitState
from sheet_reader.study.days import mixed_orders
from sheet_reader.study.model import Study


class SiteHistory:
    """Counts that held when a batch began, by site, visit date (ISO 8601) and field; and digits of
    known truth on the sites' sheets.
    """

    def __init__(self, study: Study, hands: Memory | None = None) -> None:
        self._hands: Memory = hands or {}
        self._counts = {f.name for f in study.fields if f.plot}
        self._values: dict[str, dict[str, dict[str, int]]] = {}
        self._orders: dict[tuple[str, str], set[bool]] = {}

    @classmethod
    def of(
        cls, study: Study, visits: Iterable[VisitState], hands: Memory | None = None
    ) -> SiteHistory:
        """What the record holds; ``hands`` as :func:`~.site_hands.site_hands` gives them."""
        history = cls(study, hands)
        for visit in visits:
            for f in visit.fields:
                history._note_order(visit.site, f)
                if f.is_current and f.status in TRUSTED:
                    history._note(visit.site, visit.visit_date, f.reading.field, f.value)
        return history

    def _note(self, site: str | None, day: str | None, field: str, value: str | None) -> None:
        if site and day and field in self._counts and value is not None and value.isdecimal():
            self._values.setdefault(site, {}).setdefault(day, {})[field] = int(value)

    def _note_order(self, site: str, f: FieldState) -> None:
        """Note whether day and month of a date stand as its sheet asks for them, where only one of
        the two orders gives a date of the season.
        """
        read = f.reading.value
        if not site or read is None or "-" not in read:
            return
        order = self._orders.setdefault((site, f.observation.layout), set())
        turned = {r.code for r in f.reading.reasons} >= {Code.NO_SUCH_DAY, Code.DAY_OR_MONTH}
        if turned and f.value == read:
            order.add(False)
        elif not turned and f.status in TRUSTED and f.value == read and int(read[-2:]) > 12:
            order.add(True)

    def in_printed_order(self, study: Study, layout: str, site: str | None) -> bool:
        """Whether day and month on the site's sheets of this ``layout`` stand as the sheet asks:
        its other sheets say so, or nothing speaks against it where everybody writes one order.
        """
        orders = self._orders.get((site or "", layout), set())
        return orders == {True} or (not orders and not mixed_orders(study))

    def hands_before(self, site: str, day: str) -> list[FormerSheet]:
        """The site's sheets of before ``day`` by which its next one may be read."""
        return lately(self._hands.get(site, ()), day)

    def before(self, places: Iterable[tuple[str, str]]) -> Mapping[str, Mapping[str, list[int]]]:
        """For each site, its counts by field before the given date (of several the first), oldest
        first; sites without any are left out.
        """
        found: dict[str, dict[str, list[int]]] = {}
        for site, day in sorted(set(places), reverse=True):
            fields: dict[str, list[int]] = {}
            for former in sorted(d for d in self._values.get(site, {}) if d < day):
                for field, value in self._values[site][former].items():
                    fields.setdefault(field, []).append(value)
            found.pop(site, None)
            if fields:
                found[site] = fields
        return found
