"""What holds now: readings and decisions of all photos put together, visit by visit.

Pure functions over rows; nothing here touches the database. The rules, in order:

1. A person's decision holds for its field in its photo, whatever a newer reading says.
2. Pages of the same site and date form one visit; a page whose site or date waits stands apart.
3. Where several photos show the same field of a visit, the latest decision serves; after "can't
   be read", a photo that came later takes its place. Without a decision, the value serves that is
   accepted in one photo and contradicted in none; two different values are a disagreement, and a
   person is asked once, with both named.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from sheet_reader.record.model import Status
from sheet_reader.sheet.model import BLANK
from sheet_reader.study.model import Study

MANY_DIFFER = 3
TWO_VISITS = "; many fields differ, so one of them may have another site or date"


@dataclass(frozen=True, slots=True)
class Seen:
    """A page seen in a photo, with its latest look."""

    sighting_id: int
    photo_id: int
    photo: str
    layout: str
    sheet: str
    page: int
    site: str | None
    visit_date: str | None
    at: str
    px_per_mm: float
    blur_mm: float
    hidden_boxes: int
    advice: str
    model: str


@dataclass(frozen=True, slots=True)
class Read:
    """A field as the latest look read it."""

    reading_id: int
    sighting_id: int
    field: str
    value: str | None
    confidence: float
    status: Status
    reason: str
    runner_up: str | None
    runner_up_confidence: float


@dataclass(frozen=True, slots=True)
class Decided:
    """The decision that holds for a field of a sighting; ``kind`` accept, value, empty or
    unreadable.
    """

    decision_id: int
    sighting_id: int
    field: str
    reading_id: int
    kind: str
    value: str | None
    by: str
    at: str
    blind: bool


@dataclass(frozen=True, slots=True)
class Effective:
    """A field of a sighting as it stands. ``serves``: its value is the visit's; ``asks``: a
    person is asked about it.
    """

    seen: Seen
    read: Read
    decided: Decided | None
    value: str | None
    status: Status
    reason: str
    serves: bool = True
    asks: bool = False
    later_value: str | None = None


@dataclass(frozen=True, slots=True)
class Visit:
    """Everything known of one visit: ``fields`` of all its photos, in the study's order."""

    site: str
    visit_date: str
    seen: tuple[Seen, ...]
    fields: tuple[Effective, ...]


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
    later = f"; a newer reading says {_shown(read.value)}" if differs else ""
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


def merge(fields: Sequence[Effective]) -> list[Effective]:
    """One field of a visit over all photos that show it, best photo first."""
    if len(fields) == 1:
        return list(fields)
    if any(f.decided for f in fields):
        return _merge_decided(fields)
    accepted = {f.value for f in fields if f.status != "flagged"}
    doubtful = {f.value for f in fields if f.status == "flagged" and f.value is not None}
    if len(accepted) > 1 or (accepted and doubtful - accepted):
        return _ask_once(fields, _which(fields))
    if not accepted:
        return _ask_once(fields, "")
    best = next(f for f in fields if f.status != "flagged")
    return [f if f is best else _give_way(f, best) for f in fields]


def _merge_decided(fields: Sequence[Effective]) -> list[Effective]:
    best = max(
        (f for f in fields if f.decided), key=lambda f: f.decided.decision_id if f.decided else 0
    )
    assert best.decided is not None
    newer = [f for f in fields if f.seen.at > best.decided.at and not f.decided]
    if best.decided.kind == "unreadable" and newer:
        older = [replace(f, serves=False, asks=False) for f in fields if f not in newer]
        return merge(newer) + older
    merged = []
    for field in fields:
        if field is best:
            merged.append(field)
        elif field.decided:
            merged.append(replace(field, serves=False))
        elif _is_news(field, best.decided):
            said = f"{_shown(best.value)} was decided from {best.seen.photo}"
            reason = f"{said}, {field.seen.photo} reads {_shown(field.value)}: which is right?"
            merged.append(replace(field, status="flagged", reason=reason, serves=False, asks=True))
        else:
            merged.append(_give_way(field, best))
    return merged


def _is_news(field: Effective, decided: Decided) -> bool:
    """Whether a sure reading contradicts a decision that was taken before it was there."""
    return (
        field.status in ("accepted", "empty")
        and field.value != decided.value
        and field.seen.at > decided.at
    )


def _give_way(field: Effective, best: Effective) -> Effective:
    """A photo's field where another photo of the same sheet serves."""
    if field.value == best.value:
        status, reason = best.status, f"{best.seen.photo} says the same"
    elif best.decided:
        status, reason = best.status, f"decided from {best.seen.photo}"
    else:
        status, reason = "unreadable", f"{best.seen.photo} serves; {field.reason}"
    if field.status != "flagged" and field.value == best.value:
        return replace(field, serves=False, asks=False)
    value = best.value if best.decided else field.value
    return replace(field, value=value, status=status, reason=reason, serves=False, asks=False)


def _ask_once(fields: Sequence[Effective], reason: str) -> list[Effective]:
    return [
        replace(f, status="flagged", reason=reason or f.reason, serves=n == 0, asks=n == 0)
        for n, f in enumerate(fields)
    ]


def _which(fields: Sequence[Effective]) -> str:
    said = [f"{f.seen.photo} reads {_shown(f.value)}" for f in fields]
    return f"two photos of one sheet disagree: {', '.join(said)}: which is right?"


def _shown(value: str | None) -> str:
    return "nothing" if value is None else value


def _two_visits(fields: list[Effective]) -> list[Effective]:
    """Say so where so many fields disagree that these look like two visits."""
    clashing = {f.read.field for f in fields if f.asks and "disagree" in f.reason}
    if len(clashing) < MANY_DIFFER:
        return fields
    return [
        replace(f, reason=f.reason + TWO_VISITS) if f.read.field in clashing else f for f in fields
    ]
