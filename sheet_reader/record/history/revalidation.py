"""The readings held against the study file as it is now.

A field was accepted under the study file of its day. Where the one in force now would ask about it,
it is doubted, until the file says otherwise again or a person has decided; nothing that was
asked about is ever accepted here. Pure functions over rows, a step before and a step after
:func:`sheet_reader.record.history.visits.visits_of`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from sheet_reader.reasons import Code, Reason, because
from sheet_reader.record.history.model import Thresholds
from sheet_reader.record.history.row_sums import with_sums_checked
from sheet_reader.record.history.states import (
    Decision,
    FieldState,
    PageObservation,
    StoredReading,
    Visit,
)
from sheet_reader.record.history.visits import visits_of
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.model import FieldSpec, Study

UNKNOWN = because(Code.UNKNOWN_FIELD)

Place = tuple[int, str]
"""A field of a page instance."""


def visits_now(
    study: Study,
    pages: Sequence[PageObservation],
    reads: Sequence[StoredReading],
    decided: Sequence[Decision],
    thresholds: Thresholds,
) -> list[Visit]:
    """Every visit, by the study file in force and the ``thresholds`` of its allowed_error."""
    held = {(d.page_instance_id, d.field) for d in decided}
    anew = asked_anew(study, reads, held, thresholds)
    placed = placed_for_sure(study, pages, reads, held)
    known = without_unknown(study, visits_of(study, placed, anew, decided))
    return with_sums_checked(study, known)


def asked_anew(
    study: Study, reads: Iterable[StoredReading], held: Collection[Place], thresholds: Thresholds
) -> list[StoredReading]:
    """``reads`` with every accepted field flagged that the study file would ask about now; what a
    person decided (``held``) stands.
    """
    specs = {spec.name: spec for spec in study.fields}
    found = []
    for read in reads:
        spec = specs.get(read.field)
        free = read.status != "flagged" and (read.page_instance_id, read.field) not in held
        if spec is not None and free:
            sure = thresholds.keys if spec.kind.is_key else thresholds.counts
            reason = _against(study, read, spec, sure)
            read = _asked(read, reason) if reason else read
        found.append(read)
    return found


def _against(study: Study, read: StoredReading, spec: FieldSpec, threshold: float) -> Reason | None:
    """Why an accepted field would be asked about now, if it would."""
    if read.confidence < threshold:
        return because(Code.STRICTER, allowed=study.allowed_error)
    if spec.kind.is_key or not (read.value or "").isdecimal():
        return None
    return spec.kind.spelling(study, spec).against(int(read.value or ""))


def _asked(read: StoredReading, reason: Reason) -> StoredReading:
    first = read.first_sure or (read.reading_id, read.value)
    reasons = because(Code.ASKED_ANEW), reason
    return replace(read, status="flagged", reasons=reasons, first_sure=first)


def placed_for_sure(
    study: Study,
    seen: Iterable[PageObservation],
    reads: Iterable[StoredReading],
    held: Collection[Place],
) -> list[PageObservation]:
    """``seen`` without a site or date that may have been corrected under a name of the field which
    the study no longer has: such a page is left without a place rather than put to a wrong one.
    """
    known = {spec.name for spec in study.fields}
    names: dict[str, str] = {h.kind: h.name for h in study.header}
    on_page = {(read.page_instance_id, read.field) for read in reads}
    doubtful = {number for number, name in held if "." not in name and name not in known}
    found = []
    for page in seen:
        if page.page_instance_id in doubtful:
            if page.sheet == BLANK and (page.page_instance_id, names["site"]) not in on_page:
                page = replace(page, site=None)
            if (page.page_instance_id, names["date"]) not in on_page:
                page = replace(page, visit_date=None)
        found.append(page)
    return found


def without_unknown(study: Study, visits: Iterable[Visit]) -> list[Visit]:
    """``visits`` in which fields that the study does not have serve nowhere and ask nothing; what
    was read and decided of them stays among the readings.
    """
    known = {spec.name for spec in study.fields}
    return [
        visit
        if known.issuperset(field.reading.field for field in visit.fields)
        else replace(visit, fields=tuple(_known(field, known) for field in visit.fields))
        for visit in visits
    ]


def _known(field: FieldState, known: Collection[str]) -> FieldState:
    if field.reading.field in known:
        return field
    reasons = (*field.reasons, UNKNOWN)
    return replace(field, is_current=False, needs_review=False, reasons=reasons)
