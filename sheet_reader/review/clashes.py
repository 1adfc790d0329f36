"""Which photos of one visit contradict each other, and which of them a person took for one sheet.

Pure functions. Doubtful values count as well: two sheets of one site and date must not become one
row because both are hard to read.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from itertools import combinations

from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.answers import SameSheet
from sheet_reader.record.history.states import ACCEPTED, FieldState, VisitState

MOST_MISREAD = REVIEW.most_misread
MOST_MISREAD_SHARE = REVIEW.most_misread_share
FEW_DIFFER = REVIEW.few_differ
ENOUGH_AGREE = REVIEW.enough_agree


def clashing(visit: VisitState, keys: Collection[str]) -> dict[int, set[str]]:
    """The page instances of the visit that may show another sheet than another one does, and that
    nobody took for the same, with the names of the fields that tell: they contradict each other in
    more than FEW_DIFFER, or the row would take fields from both while they agree in less than
    ENOUGH_AGREE. ``keys`` are names of fields that do not count: site and date.
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
        names = _telling(said[one], said[other])
        for page in (one, other) if names else ():
            found[page] |= names
    return dict(found)


def _telling(one: dict[str, FieldState], other: dict[str, FieldState]) -> set[str]:
    """The fields that speak for two sheets, where enough of them do."""
    both = one.keys() & other.keys()
    names = {name for name in both if differ(one[name], other[name])}
    if len(names) > FEW_DIFFER:
        return names
    agree = {name for name in both - names if _says(one[name]) and _says(other[name])}
    own, others = ({name for name in both if own_value(s[name])} for s in (one, other))
    mixed = bool(own - others) and bool(others - own)
    return own | others if len(agree) < ENOUGH_AGREE and (names or mixed) else set()


def least_alike(
    visit: VisitState, pages: Collection[int], keys: Collection[str]
) -> tuple[bool, int, int]:
    """Of the two ``pages`` that are least alike: whether they are too unlike for one sheet, in how
    many fields they differ that both say surely, and how many of these there are. ``keys`` do not
    count, nor do fields that are empty in both.
    """
    said: dict[int, dict[str, str | None]] = {page: {} for page in pages}
    for e in visit.fields:
        page = e.observation.page_instance_id
        if page in said and e.reading.field not in keys and surely(e):
            said[page][e.reading.field] = own_value(e)
    found = [(False, 0, 0)]
    for one, other in combinations(said.values(), 2):
        both = [name for name in one.keys() & other.keys() if one[name] or other[name]]
        differing = sum(one[name] != other[name] for name in both)
        most = min(MOST_MISREAD, MOST_MISREAD_SHARE * len(both))
        unlike = differing > most or len(both) - differing < ENOUGH_AGREE
        found.append((unlike, differing, len(both)))
    return max(found)


def _says(e: FieldState) -> bool:
    return surely(e) and own_value(e) is not None


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
    return e.reading.value if e.decision is None else e.decision.value


def surely(e: FieldState) -> bool:
    """Whether this photo by itself leaves no doubt of the field."""
    if e.decision is not None:
        return e.decision.kind != "unreadable"
    return e.reading.status in ACCEPTED


def same_sheets(visit: VisitState) -> list[set[int]]:
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
