"""What holds now: readings and decisions of all photos put together, visit by visit.

Pure functions over rows; nothing here touches the database. A person's decision holds for its
field in its photo, whatever a newer reading says. Pages of the same site and date form one visit;
a page whose site or date waits stands apart. Where several photos show the same field of a visit,
:mod:`sheet_reader.record.history.merging` has the rules.

A field was accepted under the study file of its day. Where the one in force now would ask about it,
it is doubted, until the file says otherwise again or a person has decided; nothing that was asked
about is ever accepted here. So a look at the record hands out nothing that no longer fits before
``read`` has decoded its pages anew, and no page whose evidence was not kept.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from sheet_reader.numbers import RECORD
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.record.history.merging import merge, same_as
from sheet_reader.record.history.row_sums import with_sums_checked
from sheet_reader.record.history.states import (
    TYPED,
    Decision,
    FieldState,
    PageObservation,
    Status,
    StoredReading,
    Thresholds,
    VisitState,
)
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.study import Study

MANY_DIFFER = RECORD.many_differ
TWO_VISITS = because(Code.MANY_DIFFER)
UNKNOWN = because(Code.UNKNOWN_FIELD)
NO_THRESHOLDS = Thresholds()
KIND_STATUS: dict[str, Status] = {
    "accept": "confirmed",
    "value": "corrected",
    "typed": "typed",
    "empty": "empty",
    "unreadable": "unreadable",
}

PageFields = tuple[PageObservation, list[FieldState]]
"""A page with its fields."""


def visits_of(
    study: Study,
    seen: Iterable[PageObservation],
    reads: Iterable[StoredReading],
    decided: Iterable[Decision],
    thresholds: Thresholds = NO_THRESHOLDS,
) -> list[VisitState]:
    """All visits, by the study file in force and the ``thresholds`` of its allowed_error, ordered
    by site and date; those whose site or date waits come last.

    Of a page typed in by hand only what was not taken back counts.
    """
    holds = {(d.page_instance_id, d.field): d for d in decided}
    misnamed = {page for page, name in holds if "." not in name and study.spec(name) is None}
    order, keys = {spec.name: n for n, spec in enumerate(study.fields)}, study.keys
    by_page: defaultdict[int, list[StoredReading]] = defaultdict(list)
    for read in sorted(reads, key=lambda r: order.get(r.field, len(order))):
        by_page[read.page_instance_id].append(read)
    groups: defaultdict[tuple[str, str, int], list[PageFields]] = defaultdict(list)
    for page in seen:
        number = page.page_instance_id
        own = [(read, holds.get((number, read.field))) for read in by_page[number]]
        if page.layout == TYPED:
            own = [(read, decision) for read, decision in own if decision is not None]
            if not own:
                continue
        own = [(read if d else _as_of_today(study, read, thresholds), d) for read, d in own]
        on_page = {read.field: alone(page, read, d) for read, d in own if read.field in keys}
        place = _place_of(keys, page, on_page, surely_named=number not in misnamed)
        page = replace(page, place=place)
        apart = 0 if all(place) else number
        groups[*place, apart].append((page, [alone(page, read, d) for read, d in own]))
    visits = (_visit(order, *place[:2], groups[place])
              for place in sorted(groups, key=lambda p: (p[2] > 0, p)))  # fmt: skip
    return with_sums_checked(study, visits)


def _as_of_today(study: Study, read: StoredReading, thresholds: Thresholds) -> StoredReading:
    """``read``, flagged where it was accepted and the study file would ask about it now."""
    spec = study.spec(read.field)
    if spec is None or read.status == "flagged":
        return read
    against: Reason | None = None
    if read.confidence < (thresholds.keys if spec.kind.is_key else thresholds.counts):
        against = because(Code.STRICTER, allowed=study.allowed_error)
    elif read.value is not None and read.value.isdecimal() and not spec.kind.is_key:
        against = spec.kind.spelling(study, spec).against(int(read.value))
    if against is None:
        return read
    first = read.first_sure or (read.reading_id, read.value)
    reasons = (because(Code.ASKED_ANEW), against)
    return replace(read, status="flagged", reasons=reasons, first_sure=first)


def alone(seen: PageObservation, read: StoredReading, decided: Decision | None) -> FieldState:
    """A field of one photo by itself: as decided, else as it was first surely read, else as read.

    A sure value never goes by itself: what speaks against it later makes it doubted.
    """
    if decided is None:
        asked = read.status == "flagged"
        held = read.first_sure[1] if asked and read.first_sure else None
        if held is None:
            return FieldState(
                seen, read, None, read.value, read.status, read.reasons, needs_review=asked
            )
        was = because(Code.WAS_SURE, before=held)
        told = read.value == held or was in read.reasons
        reasons = read.reasons if told else (was, *read.reasons)
        return FieldState(seen, read, None, held, "doubted", reasons, needs_review=True)
    differs = decided.reading_id != read.reading_id and read.value != decided.value
    later = (because(Code.NEWER_DIFFERS, value=read.value),) if differs else ()
    return FieldState(
        seen,
        read,
        decided,
        decided.value,
        KIND_STATUS[decided.kind],
        (because(Code.DECIDED), *later),
        later_value=(read.value or "nothing") if differs else None,
    )


def _place_of(
    keys: tuple[str, str],
    seen: PageObservation,
    on_page: Mapping[str, FieldState],
    *,
    surely_named: bool,
) -> tuple[str, str]:
    """Site and visit date of a page, "" for what waits, is empty or cannot be read.

    A field that is not on the page (a printed site number) is taken from what a person said of the
    page, else from its code or, where it may not have been corrected under a name that the study no
    longer has (``surely_named``), from what was read: rather no place than a wrong one.
    """
    read = (seen.site, seen.visit_date) if surely_named else (None, None)
    site, day = keys

    def known(name: str, decided: str | None, otherwise: str | None) -> str:
        state = on_page.get(name)
        if state is None or (decided is not None and state.decision is None):
            return decided or otherwise or ""
        return "" if state.status == "flagged" else state.value or ""

    printed = seen.sheet if seen.sheet != BLANK else read[0]
    return known(site, seen.decided_site, printed), known(day, seen.decided_date, read[1])


def _visit(
    order: Mapping[str, int], site: str, day: str, pages: Iterable[PageFields]
) -> VisitState:
    """One visit. Where many of its fields disagree these look like two visits, which is said; what
    the study has no field for serves nowhere and asks nothing.
    """
    pages = sorted(pages, key=lambda page: _better(*page))
    by_field: defaultdict[str, list[FieldState]] = defaultdict(list)
    for _, states in pages:
        for state in states:
            by_field[state.field].append(state)
    fields = [
        state
        for name in sorted(by_field, key=lambda n: (order.get(n, len(order)), n))
        for state in merge(by_field[name])
    ]
    clashing = {state.field for state in fields if state.needs_review and state.rivals}
    if len(clashing) >= MANY_DIFFER:
        fields = [
            replace(state, reasons=(*state.reasons, TWO_VISITS)) if state.field in clashing
            else state
            for state in fields
        ]  # fmt: skip
    if by_field.keys() - order.keys():
        fields = [
            state if state.field in order
            else replace(state, is_current=False, needs_review=False,
                         reasons=(*state.reasons, UNKNOWN))
            for state in fields
        ]  # fmt: skip
    return VisitState(site, day, tuple(page for page, _ in pages), tuple(fields))


def _better(seen: PageObservation, fields: Sequence[FieldState]) -> tuple[float, ...]:
    """Sort key of the photos of one visit, the best first: the one that a person said last to show
    the sheet of others, then fewest doubts, then the sharpest.
    """
    said = [f.decision.decision_id for f in fields if f.decision and same_as(f.decision)]
    doubts = sum(f.status in ("flagged", "doubted", "unreadable") for f in fields)
    sharp = seen.blur_mm, -seen.px_per_mm
    return (-max(said, default=0), doubts, seen.hidden_boxes, *sharp, seen.page_instance_id)
