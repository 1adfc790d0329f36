"""What holds now: readings and decisions of all photos put together, visit by visit.

Pure functions over rows; nothing here touches the database. A person's decision holds for its
field in its photo, whatever a newer reading says. Pages of the same site and date form one visit;
a page whose site or date waits stands apart. Where several photos show the same field of a visit,
:mod:`sheet_reader.record.history.merging` has the rules.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from sheet_reader.numbers import RECORD
from sheet_reader.reasons import Code, because
from sheet_reader.record.history.merging import merge
from sheet_reader.record.history.model import Status
from sheet_reader.record.history.serving import same_as
from sheet_reader.record.history.states import (
    Decision,
    FieldState,
    PageObservation,
    StoredReading,
    Visit,
)
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.model import Study

MANY_DIFFER = RECORD.many_differ
TWO_VISITS = because(Code.MANY_DIFFER)


KIND_STATUS: dict[str, Status] = {
    "accept": "confirmed",
    "value": "corrected",
    "typed": "typed",
    "empty": "empty",
    "unreadable": "unreadable",
}


def visits_of(
    study: Study,
    seen: Sequence[PageObservation],
    reads: Iterable[StoredReading],
    decided: Iterable[Decision],
) -> list[Visit]:
    """All visits, ordered by site and date; those whose site or date waits come last."""
    holds = {(d.page_instance_id, d.field): d for d in decided}
    by_instance: dict[int, list[StoredReading]] = defaultdict(list)
    for read in reads:
        by_instance[read.page_instance_id].append(read)
    order = {spec.name: n for n, spec in enumerate(study.fields)}
    groups: dict[tuple[str, str, int], list[tuple[PageObservation, list[FieldState]]]] = (
        defaultdict(list)
    )
    for page in seen:
        fields = [
            alone(page, r, holds.get((page.page_instance_id, r.field)))
            for r in sorted(
                by_instance[page.page_instance_id], key=lambda r: order.get(r.field, 999)
            )
        ]
        site, day = place_of(study, page, fields)
        apart = 0 if site and day else page.page_instance_id
        groups[site, day, apart].append((page, fields))
    ordered = sorted(groups, key=lambda k: (k[2] > 0, k))
    return [_visit(site, day, groups[site, day, apart], order) for site, day, apart in ordered]


def _visit(
    site: str,
    day: str,
    pages: list[tuple[PageObservation, list[FieldState]]],
    order: dict[str, int],
) -> Visit:
    pages = sorted(pages, key=lambda p: better(*p))
    by_field: dict[str, list[FieldState]] = defaultdict(list)
    for _, fields in pages:
        for field in fields:
            by_field[field.reading.field].append(field)
    merged = [
        effective
        for name in sorted(by_field, key=lambda n: (order.get(n, 999), n))
        for effective in merge(by_field[name])
    ]
    return Visit(site, day, tuple(p for p, _ in pages), tuple(_two_visits(merged)))


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


def place_of(study: Study, seen: PageObservation, fields: Sequence[FieldState]) -> tuple[str, str]:
    """Site and visit date of a page, "" for what waits, is empty or cannot be read.

    A field that is not on the page (a printed site number) is taken from what a person said of the
    page, else from its code or reading.
    """
    names: dict[str, str] = {h.kind: h.name for h in study.header}
    by_name = {f.reading.field: f for f in fields}

    def known(kind: str, decided: str | None, otherwise: str | None) -> str:
        field = by_name.get(names.get(kind, ""))
        if field is None or (decided is not None and field.decision is None):
            return decided or otherwise or ""
        return "" if field.status == "flagged" else field.value or ""

    printed = seen.sheet if seen.sheet != BLANK else seen.site
    return (
        known("site", seen.decided_site, printed),
        known("date", seen.decided_date, seen.visit_date),
    )


def better(seen: PageObservation, fields: Sequence[FieldState]) -> tuple[float, ...]:
    """Sort key of the photos of one visit, the best first: the one that a person said last to show
    the sheet of others, then fewest doubts, then the sharpest.
    """
    said = [f.decision.decision_id for f in fields if f.decision and same_as(f.decision)]
    doubts = sum(f.status in ("flagged", "doubted", "unreadable") for f in fields)
    sharp = seen.blur_mm, -seen.px_per_mm
    return (-max(said, default=0), doubts, seen.hidden_boxes, *sharp, seen.page_instance_id)


def _two_visits(fields: list[FieldState]) -> list[FieldState]:
    """Say so where so many fields disagree that these look like two visits."""
    clashing = {f.reading.field for f in fields if f.needs_review and f.rivals}
    if len(clashing) < MANY_DIFFER:
        return fields
    return [
        replace(f, reasons=(*f.reasons, TWO_VISITS)) if f.reading.field in clashing else f
        for f in fields
    ]
