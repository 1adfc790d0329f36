"""One field of a visit over all photos that show it. Pure functions; the rules, in order:

1. "Can't be read" is said of one photo: it takes that photo out and never a value of another.
2. Of several decisions the latest is current. A sure value of another photo that contradicts it is
   asked about, unless the person was told of it when deciding: then that is settled, in whatever
   order photos came, were answered and joined the visit.
3. Without a decision, the value is current that is accepted in one photo and contradicted in none;
   two different values are a disagreement, and a person is asked once, with all of them named.
4. Whatever is asked about a value that held: it stays current, doubted, until a person answers. Of
   several the one that was surely read first stays.

Nothing here looks at a clock.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from sheet_reader.reasons import Code, Reason, Reasons, because, has
from sheet_reader.record.history.answers import SameSheet
from sheet_reader.record.history.states import (
    SURE,
    Decision,
    FieldState,
    Rival,
    Status,
    StoredReading,
)


def merge(fields: Sequence[FieldState]) -> list[FieldState]:
    """One field of a visit over all photos that show it, the best first; exactly one is current."""
    if len(fields) == 1:
        return list(fields)
    if any(_valued(f) for f in fields):
        return _merge_decided(fields)
    given_up = [f for f in fields if f.decision]
    rest = [f for f in fields if not f.decision]
    if given_up and all(_hidden(f) for f in rest):
        best = max(given_up, key=_decision_id)
        return [_beside(f, best) for f in fields]
    return _merge_read(rest, given_up) + [replace(f, is_current=False) for f in given_up]


def _merge_read(fields: Sequence[FieldState], given_up: Sequence[FieldState]) -> list[FieldState]:
    """Readings without a decision. What was surely read in a photo that a person then gave up is
    still reason enough to ask about another value.
    """
    sure = [f for f in fields if f.status in SURE]
    accepted = {f.value for f in sure}
    unsure = [f for f in fields if f.status not in SURE]
    doubtful: set[str | None] = {v for f in unsure for v in (f.value, f.read_value)} - {None}
    doubtful |= {f.read_value for f in given_up if f.reading.status in SURE}
    if len(accepted) == 1 and not doubtful - accepted:
        return [_beside(f, sure[0]) for f in fields]
    held = [f for f in fields if f.status in (*SURE, "doubted") and f.value is not None]
    stays = min(held, key=lambda f: surely_read(f.reading), default=None)
    if not accepted:
        return _ask(fields, [], stays)
    read = [f for f in fields if f.status in SURE or f.value is not None]
    return _ask(fields, read + [f for f in given_up if f.reading.status in SURE], stays)


def _merge_decided(fields: Sequence[FieldState]) -> list[FieldState]:
    best = max((f for f in fields if _valued(f)), key=_decision_id)
    alike = [f.decision for f in fields if f.decision and _valued(f) and f.value == best.value]
    told = {rival for decision in alike for rival in decision.overruled}
    contrary = [f for f in fields if f.status in SURE and f.value != best.value]
    news = [f for f in contrary if _rival(f) not in told]
    if not news:
        return [_beside(f, best) for f in fields]
    settled = [
        replace(_beside(f, best), is_current=False) for f in fields if f not in news and f != best
    ]
    named = [best, *contrary]
    if best.value is None:
        return [*_ask(news, named), *settled, replace(best, is_current=False)]
    doubted = replace(best, status="doubted", reasons=(_which(named),))
    return [doubted, *(replace(f, is_current=False) for f in _ask(news, named)), *settled]


def _ask(
    fields: Sequence[FieldState], named: Sequence[FieldState], stays: FieldState | None = None
) -> list[FieldState]:
    """All of ``fields`` wait, one of them is asked about: in a photo that shows its boxes, that of
    the value that ``stays`` before others. The reason names the values of ``named``.
    """
    reasons: Reasons = (_which(named),) if named else ()
    reasons += tuple(r for r in stays.reasons if r.code is Code.WAS_SURE) if stays else ()
    found = [
        replace(
            f,
            status="doubted" if f is stays else "flagged",
            reasons=reasons if named else f.reasons,
            is_current=f is stays,
            needs_review=False,
        )
        for f in sorted(fields, key=lambda f: (_hidden(f), f is not stays))
    ]
    asked = found[0]
    rivals = tuple(
        _rival(f) for f in named if f.observation != asked.observation and f.status != "unreadable"
    )
    current = stays is None or asked.is_current
    return [replace(asked, is_current=current, needs_review=True, rivals=rivals), *found[1:]]


def _beside(field: FieldState, best: FieldState) -> FieldState:
    """A photo's field where the one of another photo serves: its own value, never the other's."""
    if field is best:
        return field
    if field.decision or (field.status in SURE and field.value == best.value):
        return replace(field, is_current=False, needs_review=False)
    status: Status = "unreadable"
    reasons = field.reasons
    photo, frame = best.photo_id, best.frame
    if field.value is not None and field.value == best.value:
        status = "confirmed" if best.decision else best.status
        reasons = (because(Code.SAME_ELSEWHERE, photo=photo, frame=frame),)
    elif not best.decision:
        reasons = (because(Code.OTHER_PHOTO, photo=photo, frame=frame), *reasons)
    elif _valued(best):
        reasons = (because(Code.DECIDED_ELSEWHERE, value=best.value, photo=photo, frame=frame),)
    return replace(field, status=status, reasons=reasons, is_current=False, needs_review=False)


def _which(fields: Sequence[FieldState]) -> Reason:
    decided = any(f.decision for f in fields)
    code = Code.DECISION_DIFFERS if decided else Code.PHOTOS_DIFFER
    return because(code, claims=[_claim(f) for f in fields])


def _claim(field: FieldState) -> tuple[str, int, int, str | None]:
    photo, frame = field.photo_id, field.frame
    if field.decision is None:
        return "read", photo, frame, field.read_value
    if _valued(field):
        return "decided", photo, frame, field.value
    return "unreadable", photo, frame, field.read_value


def _valued(field: FieldState) -> bool:
    """Whether a person decided what the field says; "nothing" is such a decision."""
    return field.decision is not None and field.decision.kind != "unreadable"


def _decision_id(field: FieldState) -> int:
    return field.decision.decision_id if field.decision else 0


def _hidden(field: FieldState) -> bool:
    """Whether its boxes can't be seen in this photo, so that there is no reading of it."""
    return (
        field.decision is None
        and field.status in ("flagged", "doubted")
        and field.read_value is None
        and has(field.reasons[:1], Code.HIDDEN)
    )


def surely_read(read: StoredReading) -> int:
    """The number of the reading that first was sure of the field; its own where none was before."""
    return read.first_sure[0] if read.first_sure else read.reading_id


def _rival(field: FieldState) -> Rival:
    value = field.value if field.decision else field.read_value
    return Rival(field.page_instance_id, value)


def same_as(decision: Decision | None) -> Collection[int]:
    """The pages that a person took for one sheet when she decided."""
    told = decision.told if decision is not None else ()
    return {page for one in told if isinstance(one, SameSheet) for page in one.pages}
