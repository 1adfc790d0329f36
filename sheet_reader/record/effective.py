"""What holds now: readings and decisions of all photos put together, visit by visit.

Pure functions over rows; nothing here touches the database. A person's decision holds for its
field in its photo, whatever a newer reading says. Pages of the same site and date form one visit;
a page whose site or date waits stands apart. Where several photos show the same field of a visit,
:mod:`sheet_reader.record.merging` has the rules.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from sheet_reader.record.merging import merge
from sheet_reader.record.model import Status
from sheet_reader.record.standing import Decided, Effective, Read, Seen, Visit
from sheet_reader.sheet.model import BLANK
from sheet_reader.study.model import Study

MANY_DIFFER = 3
TWO_VISITS = "; many fields differ, so one of them may have another site or date"


KIND_STATUS: dict[str, Status] = {
    "accept": "confirmed",
    "value": "corrected",
    "empty": "empty",
    "unreadable": "unreadable",
}


def visits_of(
    study: Study, seen: Sequence[Seen], reads: Iterable[Read], decided: Iterable[Decided]
) -> list[Visit]:
    """All visits, ordered by site and date; those whose site or date waits come last."""
    holds = {(d.sighting_id, d.field): d for d in decided}
    by_sighting: dict[int, list[Read]] = defaultdict(list)
    for read in reads:
        by_sighting[read.sighting_id].append(read)
    order = {spec.name: n for n, spec in enumerate(study.fields)}
    groups: dict[tuple[str, str, int], list[tuple[Seen, list[Effective]]]] = defaultdict(list)
    for page in seen:
        fields = [
            alone(page, r, holds.get((page.sighting_id, r.field)))
            for r in sorted(by_sighting[page.sighting_id], key=lambda r: order.get(r.field, 999))
        ]
        site, day = place_of(study, page, fields)
        apart = 0 if site and day else page.sighting_id
        groups[site, day, apart].append((page, fields))
    ordered = sorted(groups, key=lambda k: (k[2] > 0, k))
    return [_visit(site, day, groups[site, day, apart], order) for site, day, apart in ordered]


def _visit(
    site: str, day: str, pages: list[tuple[Seen, list[Effective]]], order: dict[str, int]
) -> Visit:
    pages = sorted(pages, key=lambda p: better(*p))
    by_field: dict[str, list[Effective]] = defaultdict(list)
    for _, fields in pages:
        for field in fields:
            by_field[field.read.field].append(field)
    merged = [
        effective
        for name in sorted(by_field, key=lambda n: (order.get(n, 999), n))
        for effective in merge(by_field[name])
    ]
    return Visit(site, day, tuple(p for p, _ in pages), tuple(_two_visits(merged)))


def alone(seen: Seen, read: Read, decided: Decided | None) -> Effective:
    """A field of one photo by itself: as decided, else as read."""
    if decided is None:
        asks = read.status == "flagged"
        return Effective(seen, read, None, read.value, read.status, read.reason, asks=asks)
    differs = decided.reading_id != read.reading_id and read.value != decided.value
    later = f"; a newer reading says {read.value or 'nothing'}" if differs else ""
    return Effective(
        seen,
        read,
        decided,
        decided.value,
        KIND_STATUS[decided.kind],
        f"decided by a person{later}",
        later_value=(read.value or "nothing") if differs else None,
    )


def place_of(study: Study, seen: Seen, fields: Sequence[Effective]) -> tuple[str, str]:
    """Site and visit date of a page, "" for what waits, is empty or cannot be read.

    A field that is not on the page (a printed site number) is taken from the page's code or look.
    """
    names: dict[str, str] = {h.kind: h.name for h in study.header}
    by_name = {f.read.field: f for f in fields}

    def known(kind: str, otherwise: str | None) -> str:
        field = by_name.get(names.get(kind, ""))
        if field is None:
            return otherwise or ""
        return "" if field.status == "flagged" else field.value or ""

    printed = seen.sheet if seen.sheet != BLANK else seen.site
    return known("site", printed), known("date", seen.visit_date)


def better(seen: Seen, fields: Sequence[Effective]) -> tuple[float, ...]:
    """Sort key of the photos of one visit, the best first: fewest doubts, then the sharpest."""
    doubts = sum(f.status in ("flagged", "unreadable") for f in fields)
    return (doubts, seen.hidden_boxes, seen.blur_mm, -seen.px_per_mm, seen.sighting_id)


def _two_visits(fields: list[Effective]) -> list[Effective]:
    """Say so where so many fields disagree that these look like two visits."""
    clashing = {f.read.field for f in fields if f.asks and f.rivals}
    if len(clashing) < MANY_DIFFER:
        return fields
    return [
        replace(f, reason=f.reason + TWO_VISITS) if f.read.field in clashing else f for f in fields
    ]
