"""Sums checked on the row that goes out, whatever photos and decisions its values come from.

A sum that does not fit is asked about unless a person was told of just these values. Pure
functions, a step after :func:`sheet_reader.record.visits.visits_of`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sheet_reader.reasons import Code, Reason, because
from sheet_reader.record.answers import SumTold
from sheet_reader.record.states import FieldState, Visit
from sheet_reader.study.model import Study, SumRule


def with_sums_checked(study: Study, visits: Iterable[Visit]) -> list[Visit]:
    """``visits`` with every sum asked about that does not fit on its row and is not settled."""
    return [_checked(study.sums, visit) for visit in visits]


def _checked(rules: Sequence[SumRule], visit: Visit) -> Visit:
    serving = {e.reading.field: e for e in visit.fields if e.is_current}
    told = sums_told(visit)
    asked: dict[str, Reason] = {}
    for rule in rules:
        states = [serving.get(name) for name in (rule.total, *rule.parts)]
        fields = [e for e in states if e is not None]
        if len(fields) != len(states) or any(e.needs_review for e in fields):
            continue
        reason = sum_off(fields)
        if reason is None or sum_as_told(fields) in told or _settled_before(fields):
            continue
        open_ = [e for e in fields if e.decision is None and e.value is not None] or fields[:1]
        asked |= {e.reading.field: reason for e in open_}
    if not asked:
        return visit
    return replace(visit, fields=tuple(_asked(e, asked) for e in visit.fields))


def _asked(state: FieldState, asked: dict[str, Reason]) -> FieldState:
    reason = asked.get(state.reading.field)
    if reason is None or not state.is_current:
        return state
    return replace(state, status="flagged", reasons=(reason,), needs_review=True)


def sums_told(visit: Visit) -> set[SumTold]:
    """The sums that a person was told of, by the decisions that stand."""
    told = (t for e in visit.fields if e.decision for t in e.decision.told)
    return {t for t in told if isinstance(t, SumTold)}


def sum_as_told(fields: Sequence[FieldState]) -> SumTold:
    """The fields of a sum, the total first, with their values."""
    return SumTold(tuple(e.reading.field for e in fields), tuple(e.value for e in fields))


def sum_off(fields: Sequence[FieldState]) -> Reason | None:
    """What is wrong with a total (first) and its parts, if anything. Where parts are missing,
    the others may still exceed the total.
    """
    total, *parts = (int(e.value) if (e.value or "").isdecimal() else None for e in fields)  # type: ignore[arg-type]
    known = [part for part in parts if part is not None]
    if total is None or not known:
        return None
    names = [e.reading.field for e in fields]
    if len(known) == len(parts) and sum(known) != total:
        return because(Code.SUM_OFF, total=total, parts=sum(known), fields=names)
    if len(known) < len(parts) and sum(known) > total:
        return because(Code.PARTS_EXCEED, total=total, parts=sum(known), fields=names)
    return None


def _settled_before(fields: Sequence[FieldState]) -> bool:
    """Whether a person decided all of it in a version that did not keep what she was told."""
    return all(e.decision is not None and e.decision.answer is None for e in fields)
