"""One field of a visit over all photos that show it. Pure functions; the rules, in order:

1. "Can't be read" is said of one photo: it takes that photo out and never a value of another.
2. Of several decisions the latest serves. A sure value of another photo that contradicts it is
   asked about, unless the person was told of it when deciding: then that is settled, in whatever
   order photos came, were answered and joined the visit.
3. Without a decision, the value serves that is accepted in one photo and contradicted in none;
   two different values are a disagreement, and a person is asked once, with all of them named.

Nothing here looks at a clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sheet_reader.record.model import Rival, Status
from sheet_reader.record.standing import Effective

SURE = ("accepted", "empty", "confirmed", "corrected")
HIDDEN = "hidden: "
"""How the reason of a field begins whose boxes can't be seen."""


def merge(fields: Sequence[Effective]) -> list[Effective]:
    """One field of a visit over all photos that show it, best photo first; exactly one serves."""
    if len(fields) == 1:
        return list(fields)
    if any(_valued(f) for f in fields):
        return _merge_decided(fields)
    given_up = [f for f in fields if f.decided]
    rest = [f for f in fields if not f.decided]
    if given_up and all(_hidden(f) for f in rest):
        best = max(given_up, key=_decision_id)
        return [_beside(f, best) for f in fields]
    return _merge_read(rest, given_up) + [replace(f, serves=False) for f in given_up]


def _merge_read(fields: Sequence[Effective], given_up: Sequence[Effective]) -> list[Effective]:
    """Readings without a decision. What was surely read in a photo that a person then gave up is
    still reason enough to ask about another value.
    """
    accepted = {f.value for f in fields if f.status in SURE}
    doubtful: set[str | None] = {f.value for f in fields if f.status == "flagged"} - {None}
    doubtful |= {f.read.value for f in given_up if f.read.status in SURE}
    if accepted and (len(accepted) > 1 or doubtful - accepted):
        read = [f for f in fields if f.status in SURE or f.value is not None]
        return _ask(fields, read + [f for f in given_up if f.read.status in SURE])
    if not accepted:
        return _ask(fields, [])
    best = next(f for f in fields if f.status in SURE)
    return [_beside(f, best) for f in fields]


def _merge_decided(fields: Sequence[Effective]) -> list[Effective]:
    best = max((f for f in fields if _valued(f)), key=_decision_id)
    told = _told_of(best, fields)
    contrary = [f for f in fields if f.status in SURE and f.value != best.value]
    news = [f for f in contrary if _rival(f) not in told]
    if not news:
        return [_beside(f, best) for f in fields]
    settled = [_beside(f, best) for f in fields if f not in news]
    return _ask(news, [best, *contrary]) + [replace(f, serves=False) for f in settled]


def _told_of(best: Effective, fields: Iterable[Effective]) -> frozenset[Rival]:
    """The values that people were told of when they decided as ``best`` was decided."""
    same = [f.decided for f in fields if f.decided and _valued(f) and f.value == best.value]
    return frozenset(r for decided in same for r in decided.overruled)


def _ask(fields: Sequence[Effective], named: Sequence[Effective]) -> list[Effective]:
    """All of ``fields`` wait, one of them is asked about: in the best photo that shows its boxes.
    The reason names the values of ``named``.
    """
    reason = _which(named) if named else ""
    waiting = [
        replace(f, status="flagged", reason=reason or f.reason, serves=False, asks=False)
        for f in sorted(fields, key=_hidden)
    ]
    here = waiting[0].seen
    rivals = tuple(_rival(f) for f in named if f.seen != here and f.status != "unreadable")
    return [replace(waiting[0], serves=True, asks=True, rivals=rivals), *waiting[1:]]


def _beside(field: Effective, best: Effective) -> Effective:
    """A photo's field where the one of another photo serves: its own value, never the other's."""
    if field is best:
        return field
    if field.decided or (field.status in SURE and field.value == best.value):
        return replace(field, serves=False, asks=False)
    status: Status = "unreadable"
    if field.value is not None and field.value == best.value:
        status = "confirmed" if best.decided else best.status
        reason = f"{best.seen.called} says the same"
    elif not best.decided:
        reason = f"{best.seen.called} serves; {field.reason}"
    elif _valued(best):
        reason = f"{_shown(best.value)} was decided from {best.seen.called}"
    else:
        reason = field.reason
    return replace(field, status=status, reason=reason, serves=False, asks=False)


def _which(fields: Sequence[Effective]) -> str:
    said = ", ".join(_says(f) for f in fields)
    start = "" if any(f.decided for f in fields) else "two photos of one sheet disagree: "
    return f"{start}{said}: which is right?"


def _says(field: Effective) -> str:
    if field.decided is None:
        return f"{field.seen.called} reads {_shown(field.value)}"
    if _valued(field):
        return f"{_shown(field.value)} was decided from {field.seen.called}"
    return f"nobody could read {field.seen.called}, taken for {_shown(field.read.value)}"


def _shown(value: str | None) -> str:
    return "nothing" if value is None else value


def _valued(field: Effective) -> bool:
    """Whether a person decided what the field says; "nothing" is such a decision."""
    return field.decided is not None and field.decided.kind != "unreadable"


def _decision_id(field: Effective) -> int:
    return field.decided.decision_id if field.decided else 0


def _hidden(field: Effective) -> bool:
    """Whether its boxes can't be seen in this photo, so that there is no reading of it."""
    return (
        field.decided is None
        and field.status == "flagged"
        and field.value is None
        and field.reason.startswith(HIDDEN)
    )


def _rival(field: Effective) -> Rival:
    return Rival(field.seen.sighting_id, field.value)
