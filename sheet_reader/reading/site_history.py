"""A site's earlier counts and the hands it knows, which help to read its next sheet.

Only visits strictly before the sheet's own date count, so that a second photo of a sheet and a
photo that is read again are judged without their own former readings. A batch takes what the record
holds when it begins: its own photos do not count, or their flags would depend on the order in which
they are read.

Earlier counts may raise doubts but not lay any: the shipped calibration, on which the promise about
accepted fields rests, knows none. So a page is read twice, since only a first reading tells site
and date, and a field is accepted only where both readings accept the same value. Digits of the
site's earlier sheets are another matter: where the hand is the same they may lay doubts, since they
speak about the signs on this sheet and not about what is likely to be counted.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from itertools import islice
from typing import TypeVar

from sheet_reader.decode.hand import FormerSheet, Memory, former_sheet, lately, parts_of
from sheet_reader.decode.pages import PageEvidence, PageReading, unpacked
from sheet_reader.decode.posteriors import Group
from sheet_reader.decode.sheet import read_page
from sheet_reader.numbers import DECODE, READING
from sheet_reader.reasons import Code, because
from sheet_reader.record.history.runs import evidence_of_runs, kept_pages
from sheet_reader.record.history.states import ANSWERED, TRUSTED, FieldState, VisitState
from sheet_reader.record.store.store import Record
from sheet_reader.study.days import mixed_orders
from sheet_reader.study.former import SAME, Names
from sheet_reader.study.study import Study

SETTLED = DECODE.settled
T = TypeVar("T")


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
        """What the record holds; ``hands`` as :func:`site_hands` gives them."""
        history = cls(study, hands)
        for visit in visits:
            for f in visit.fields:
                history._note_order(visit.site, f)
                counts = f.reading.field in history._counts and (f.value or "").isdecimal()
                placed = visit.site and visit.visit_date
                if placed and counts and f.is_current and f.status in TRUSTED:
                    days = history._values.setdefault(visit.site, {})
                    days.setdefault(visit.visit_date, {})[f.reading.field] = int(f.value or "")
        return history

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


def history_of(record: Record, sites: Collection[str] | None = None) -> SiteHistory:
    """What the record holds now by which pages may be read: counts and hands of its sites, or of
    these ``sites`` only.
    """
    visits = record.state()
    if sites is not None:
        visits = [visit for visit in visits if visit.site in sites]
    return SiteHistory.of(record.study, visits, site_hands(record, visits))


def site_hands(record: Record, visits: Iterable[VisitState]) -> dict[str, list[FormerSheet]]:
    """What the record tells of the hands of each site, by its ``visits`` as they stand.

    A field tells which digits its boxes hold where a person confirmed or corrected it, or where the
    reader and the rules together (sums among them) are surer than SETTLED; less than that would let
    misreadings speak for themselves. Of several photos of one page the best one counts.
    """
    places: dict[int, tuple[str, str, dict[Group, str]]] = {}
    for visit in (visit for visit in visits if visit.site and visit.visit_date):
        best: dict[int, int] = {}
        for page in visit.pages:
            best.setdefault(page.page, page.page_instance_id)
        for number in best.values():
            own = [f for f in visit.fields if f.observation.page_instance_id == number]
            places[number] = visit.site, visit.visit_date, settled_digits(record.study, own)
    found: dict[str, list[FormerSheet]] = defaultdict(list)
    with record.reading() as connection:
        kept = kept_pages(connection, record.study.key)
        runs = {page.source: places[page.page_instance_id] for page in kept
                if page.page_instance_id in places}  # fmt: skip
        for some in portions(runs, READING.decoded_at_a_time):
            for run, data in evidence_of_runs(connection, some).items():
                site, day, settled = runs[run]
                former = _former(data, day, frozenset(settled.items()))
                if former is not None:
                    found[site].append(former)
    return dict(found)


def portions(items: Iterable[T], count: int) -> Iterator[list[T]]:
    """The items, so many at a time."""
    rest = iter(items)
    while found := list(islice(rest, count)):
        yield found


@lru_cache(maxsize=int(READING.hands_kept))
def _former(data: bytes, day: str, settled: frozenset[tuple[Group, str]]) -> FormerSheet | None:
    """The same page is asked for in each round of decoding; None for a form not known."""
    page = unpacked(data)
    return None if page is None else former_sheet(day, page, dict(settled))


def settled_digits(study: Study, fields: Iterable[FieldState]) -> dict[Group, str]:
    """The digits of a page's ``fields`` whose truth is known."""
    specs = {spec.name: spec for spec in study.fields}
    settled: dict[Group, str] = {}
    for field in fields:
        spec = specs.get(field.reading.field)
        sure = field.status == "accepted" and field.reading.confidence >= SETTLED
        if spec and field.value is not None and (sure or field.status in ANSWERED):
            settled |= parts_of(spec, field.value)
    return settled


def with_history(
    evidence: PageEvidence,
    study: Study,
    history: SiteHistory,
    threshold: float | None,
    names: Names = SAME,
) -> PageReading:
    """A page by its evidence, read as the work of a hand that its site knows where it fits, and
    doubted where earlier counts of the site speak against it.

    ``study`` is that of the page's layout, ``names`` are the present names of its fields.
    """
    seen = read_page(evidence, study)
    site, day = seen.place(threshold)
    if history.in_printed_order(study, evidence.code.layout, site):
        seen = seen.in_printed_order()
        site, day = seen.place(threshold)
    if site and day:
        seen = seen.remembering(history.hands_before(site, day), day)
    base = seen.judged(threshold=threshold)
    if not site or not day:
        return base
    known = history.before([(site, day)]).get(site, {})
    called = {spec.name: names.get(spec.name, spec.name) for spec in study.fields}
    own = {name: known[now] for name, now in called.items() if now in known}
    if not own:
        return base
    second = seen.judged(history={site: own}, threshold=threshold)
    return doubted_page(base, second)


def doubted_page(first: PageReading, second: PageReading) -> PageReading:
    """``first`` with every field flagged that ``second``, read with earlier counts, doubts."""
    others = {f.field: f for f in second.fields}
    fields = []
    for field in first.fields:
        other = others.get(field.field, field)
        agree = (other.status, other.value) == ("accepted", field.value)
        if field.status == "accepted" and not agree:
            against = because(Code.HISTORY_DIFFERS, value=field.value)
            field = replace(other, status="flagged", reasons=(against, *other.reasons))
        fields.append(field)
    return replace(first, fields=tuple(fields))
