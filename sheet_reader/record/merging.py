"""One field of a visit over all photos that show it. Pure functions; the rules, in order:

1. "Can't be read" is said of one photo: it takes that photo out and never a value of another.
2. Of several decisions the latest is current. A sure value of another photo that contradicts it is
   asked about, unless the person was told of it when deciding: then that is settled, in whatever
   order photos came, were answered and joined the visit.
3. Without a decision, the value is current that is accepted in one photo and contradicted in none;
   two different values are a disagreement, and a person is asked once, with all of them named.

Nothing here looks at a clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sheet_reader.reasons import Code, Reason, because, has
from sheet_reader.record.model import Rival, Status
from sheet_reader.record.states import FieldState

SURE = ("accepted", "empty", "confirmed", "corrected", "typed")


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
    accepted = {f.value for f in fields if f.status in SURE}
    doubtful: set[str | None] = {f.value for f in fields if f.status == "flagged"} - {None}
    doubtful |= {f.reading.value for f in given_up if f.reading.status in SURE}
    if accepted and (len(accepted) > 1 or doubtful - accepted):
        read = [f for f in fields if f.status in SURE or f.value is not None]
        return _ask(fields, read + [f for f in given_up if f.reading.status in SURE])
    if not accepted:
        return _ask(fields, [])
    best = next(f for f in fields if f.status in SURE)
    return [_beside(f, best) for f in fields]


def _merge_decided(fields: Sequence[FieldState]) -> list[FieldState]:
    best = max((f for f in fields if _valued(f)), key=_decision_id)
    told = _told_of(best, fields)
    contrary = [f for f in fields if f.status in SURE and f.value != best.value]
    news = [f for f in contrary if _rival(f) not in told]
    if not news:
        return [_beside(f, best) for f in fields]
    settled = [_beside(f, best) for f in fields if f not in news]
    return _ask(news, [best, *contrary]) + [replace(f, is_current=False) for f in settled]


def _told_of(best: FieldState, fields: Iterable[FieldState]) -> frozenset[Rival]:
    """The values that people were told of when they decided as ``best`` was decided."""
    same = [f.decision for f in fields if f.decision and _valued(f) and f.value == best.value]
    return frozenset(r for decided in same for r in decided.overruled)


def _ask(fields: Sequence[FieldState], named: Sequence[FieldState]) -> list[FieldState]:
    """All of ``fields`` wait, one of them is asked about: in the best photo that shows its boxes.
    The reason names the values of ``named``.
    """
    reasons = (_which(named),) if named else ()
    waiting = [
        replace(
            f,
            status="flagged",
            reasons=reasons or f.reasons,
            is_current=False,
            needs_review=False,
        )
        for f in sorted(fields, key=_hidden)
    ]
    here = waiting[0].observation
    rivals = tuple(_rival(f) for f in named if f.observation != here and f.status != "unreadable")
    return [replace(waiting[0], is_current=True, needs_review=True, rivals=rivals), *waiting[1:]]


def _beside(field: FieldState, best: FieldState) -> FieldState:
    """A photo's field where the one of another photo serves: its own value, never the other's."""
    if field is best:
        return field
    if field.decision or (field.status in SURE and field.value == best.value):
        return replace(field, is_current=False, needs_review=False)
    status: Status = "unreadable"
    reasons = field.reasons
    photo, frame = best.observation.photo_id, best.observation.frame
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
    photo, frame = field.observation.photo_id, field.observation.frame
    if field.decision is None:
        return "read", photo, frame, field.value
    if _valued(field):
        return "decided", photo, frame, field.value
    return "unreadable", photo, frame, field.reading.value


def _valued(field: FieldState) -> bool:
    """Whether a person decided what the field says; "nothing" is such a decision."""
    return field.decision is not None and field.decision.kind != "unreadable"


def _decision_id(field: FieldState) -> int:
    return field.decision.decision_id if field.decision else 0


def _hidden(field: FieldState) -> bool:
    """Whether its boxes can't be seen in this photo, so that there is no reading of it."""
    return (
        field.decision is None
        and field.status == "flagged"
        and field.value is None
        and has(field.reasons[:1], Code.HIDDEN)
    )


def _rival(field: FieldState) -> Rival:
    return Rival(field.observation.page_instance_id, field.value)
