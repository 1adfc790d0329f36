"""A picture read once more with the site's earlier counts, which may raise doubts but not lay any.

Only a first reading tells site and date, hence two. The shipped calibration, on which the promise
about accepted fields rests, knows no earlier counts: so a field is accepted only where both
readings accept the same value. Digits of the site's earlier sheets are another matter: where the
hand is the same they may lay doubts, since they speak about the signs on this sheet and not about
what is likely to be counted.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from sheet_reader.decode.counts import History
from sheet_reader.decode.pages import FieldReading, PageEvidence, PageReading
from sheet_reader.decode.sheet import read_page
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading.reader import Outcome, Reader
from sheet_reader.reading.site_history import SiteHistory
from sheet_reader.reasons import Code, because
from sheet_reader.study.former import SAME, Names, by_present_rules
from sheet_reader.study.model import Study
from sheet_reader.vision.findings import NoSheet, SheetView

if TYPE_CHECKING:
    from sheet_reader.sheet.book import LayoutBook

Found = tuple[SheetView, PageReading] | NoSheet


def read_with_history(
    reader: Reader,
    picture: OpenedPicture,
    study: Study,
    book: LayoutBook,
    today: date,
    history: SiteHistory,
) -> Outcome:
    """What ``reader`` finds in ``picture``, doubted where earlier counts of its sites speak
    against it. Pictures of sites without any are read once.
    """
    first = reader(picture, study, book, today)
    if all(isinstance(item, NoSheet) or item[1].evidence is not None for item in first):
        return [_by_evidence(item, study, book, history) for item in first]
    earlier = _before(first, history)
    if not earlier:
        return first
    second = reader(picture, study, book, today, history=earlier)
    return [_doubted(one, other) for one, other in zip(first, second, strict=True)]


def fields_of(study: Study, book: LayoutBook | None, version: str) -> Study:
    """The study whose fields a page of this layout version has, by the rules of ``study``."""
    if book is None or version not in book.versions or book.study_of(version) is book.study:
        return study
    return by_present_rules(book.study_of(version), study)


def _by_evidence(
    item: Found, study: Study, book: LayoutBook | None, history: SiteHistory
) -> Found:
    if isinstance(item, NoSheet) or item[1].evidence is None:
        return item
    view, page = item
    own = fields_of(study, book, page.code.layout)
    return view, with_history(item[1].evidence, own, history, page.threshold)


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


def _before(outcome: Outcome, history: SiteHistory) -> History:
    pages = [item[1] for item in outcome if not isinstance(item, NoSheet)]
    return history.before((p.site, p.visit_date) for p in pages if p.site and p.visit_date)


def _doubted(first: Found, second: Found) -> Found:
    if isinstance(first, NoSheet) or isinstance(second, NoSheet):
        return first
    view, page = first
    return view, doubted_page(page, second[1])


def doubted_page(first: PageReading, second: PageReading) -> PageReading:
    """``first`` with every field flagged that ``second``, read with earlier counts, doubts."""
    others = {f.field: f for f in second.fields}
    fields = tuple(_doubted_field(f, others.get(f.field, f)) for f in first.fields)
    return replace(first, fields=fields)


def _doubted_field(first: FieldReading, second: FieldReading) -> FieldReading:
    if first.status != "accepted" or (second.status, second.value) == ("accepted", first.value):
        return first
    against = because(Code.HISTORY_DIFFERS, value=first.value)
    return replace(second, status="flagged", reasons=(against, *second.reasons))
