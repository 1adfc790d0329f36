"""The digits of a site's earlier sheets whose truth is known: how its volunteers write.

A field tells which digits its boxes hold where a person confirmed or corrected it, or where the
reader and the rules together (sums among them) are surer than SETTLED; less than that would let
misreadings speak for themselves. Of several photos of one page the best one counts.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from functools import lru_cache
from itertools import islice

from sheet_reader.decode.hand import FormerSheet, former_sheet, parts_of
from sheet_reader.decode.pages import unpacked
from sheet_reader.decode.posteriors import Group
from sheet_reader.numbers import DECODE, READING
from sheet_reader.reading.site_history import SiteHistory
from sheet_reader.record.history.runs import evidence_of_runs, kept_pages
from sheet_reader.record.history.states import ANSWERED, FieldState, VisitState
from sheet_reader.record.store.store import Record
from sheet_reader.study.model import Study

SETTLED = DECODE.settled
AT_A_TIME = READING.decoded_at_a_time

Places = dict[int, tuple[str, str, dict[Group, str]]]
"""By page instance: site, day, and the digits that are settled."""


def history_of(record: Record, sites: Collection[str] | None = None) -> SiteHistory:
    """What the record holds now by which pages may be read: counts and hands of its sites, or of
    these ``sites`` only.
    """
    visits = record.state()
    if sites is not None:
        visits = [visit for visit in visits if visit.site in sites]
    return SiteHistory.of(record.study, visits, site_hands(record, visits))


def site_hands(record: Record, visits: Iterable[VisitState]) -> dict[str, list[FormerSheet]]:
    """What the record tells of the hands of each site, by its ``visits`` as they stand."""
    places = _places(record.study, visits)
    found: dict[str, list[FormerSheet]] = {}
    with record.reading() as connection:
        kept = kept_pages(connection, record.study.key)
        runs = {page.source: places[page.page_instance_id] for page in kept
                if page.page_instance_id in places}  # fmt: skip
        left = iter(runs)
        while some := list(islice(left, AT_A_TIME)):
            evidence = evidence_of_runs(connection, some)
            for run in some:
                site, day, settled = runs[run]
                former = _former(evidence[run], day, frozenset(settled.items()))
                if former is not None:
                    found.setdefault(site, []).append(former)
    return found


@lru_cache(maxsize=int(READING.hands_kept))
def _former(data: bytes, day: str, settled: frozenset[tuple[Group, str]]) -> FormerSheet | None:
    """The same page is asked for in each round of decoding; None for a form not known."""
    page = unpacked(data)
    return None if page is None else former_sheet(day, page, dict(settled))


def _places(study: Study, visits: Iterable[VisitState]) -> Places:
    places: Places = {}
    for visit in visits:
        if not visit.site or not visit.visit_date:
            continue
        best: dict[int, int] = {}
        for page in visit.pages:
            best.setdefault(page.page, page.page_instance_id)
        for number in best.values():
            own = [f for f in visit.fields if f.observation.page_instance_id == number]
            places[number] = (visit.site, visit.visit_date, settled_digits(study, own))
    return places


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
