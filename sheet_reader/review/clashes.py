"""Which photos of one visit contradict each other, and which of them a person took for one sheet.

Pure functions. Doubtful values count as well: two sheets of one site and date must not become one
row because both are hard to read.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from itertools import combinations

from sheet_reader.record.answers import SameSheet
from sheet_reader.record.states import FieldState, Visit

FEW_DIFFER = 1
"""So many fields in which two photos differ are asked about one by one: a misread digit, rather
than another sheet. Our choice, no source."""


def clashing(visit: Visit, keys: Collection[str]) -> dict[int, set[str]]:
    """The page instances of the visit that contradict another in more than FEW_DIFFER fields, and
    that nobody took for the same sheet, with the names of those fields. ``keys`` are names of
    fields that do not count: site and date.
    """
    said: dict[int, dict[str, FieldState]] = defaultdict(dict)
    for e in visit.fields:
        if e.reading.field not in keys:
            said[e.observation.page_instance_id][e.reading.field] = e
    same = same_sheets(visit)
    found: dict[int, set[str]] = defaultdict(set)
    for one, other in combinations([page.page_instance_id for page in visit.pages], 2):
        if any({one, other} <= pages for pages in same):
            continue
        names = {
            name
            for name, e in said[one].items()
            if name in said[other] and differ(e, said[other][name])
        }
        if len(names) > FEW_DIFFER:
            found[one] |= names
            found[other] |= names
    return dict(found)


def differ(one: FieldState, other: FieldState) -> bool:
    """Whether two photos say different things of a field; where one says nothing for sure, they
    do not.
    """
    values = own_value(one), own_value(other)
    for e, value in zip((one, other), values, strict=True):
        if value is None and not surely(e):
            return False
    return values[0] != values[1]


def own_value(e: FieldState) -> str | None:
    """What this photo by itself says: as decided, else as read."""
    return e.value if e.decision is None else e.decision.value


def surely(e: FieldState) -> bool:
    """Whether this photo by itself leaves no doubt of the field."""
    if e.decision is not None:
        return e.decision.kind != "unreadable"
    return e.reading.status in ("accepted", "empty")


def same_sheets(visit: Visit) -> list[set[int]]:
    """Page instances that a person took for the same sheet: she said so, or has decided a field
    between them.
    """
    found: list[set[int]] = []
    for e in visit.fields:
        if e.decision is not None:
            found += [set(t.pages) for t in e.decision.told if isinstance(t, SameSheet)]
            own = e.observation.page_instance_id
            found += [{own, rival.page_instance_id} for rival in e.decision.overruled]
    return found
