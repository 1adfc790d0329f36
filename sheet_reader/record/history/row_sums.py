"""The one rule of sums, and sums checked on the row that goes out, whatever photos and decisions
its values come from.

A sum that does not fit is asked about unless a person was told of just these values. Pure
functions, a step after :func:`sheet_reader.record.history.visits.visits_of`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

from sheet_reader.reasons import Code, Reason, because
from sheet_reader.record.history.answers import SumTold
from sheet_reader.record.history.states import VisitState
from sheet_reader.study.study import Study, SumRule


def with_sums_checked(study: Study, visits: Iterable[VisitState]) -> list[VisitState]:
    """``visits`` with every sum asked about that does not fit on its row and is not settled."""
    return [_checked(study.sums, visit) for visit in visits]


def _checked(rules: Sequence[SumRule], visit: VisitState) -> VisitState:
    serving = visit.serving
    told = sums_told(visit)
    asked: dict[str, Reason] = {}
    for rule in rules:
        states = [serving.get(name) for name in rule.fields]
        fields = [e for e in states if e is not None]
        if len(fields) != len(states) or any(e.status in ("flagged", "doubted") for e in fields):
            continue
        names, values = zip(*((e.field, e.value) for e in fields), strict=True)
        reason = sum_off(names, values)
        if reason is None or SumTold(names, values) in told:
            continue
        open_ = [e for e in fields if e.decision is None and e.value is not None] or fields[:1]
        asked |= {e.field: reason for e in open_}
    if not asked:
        return visit
    return replace(visit, fields=tuple(
        replace(e, status="flagged" if e.value is None else "doubted", reasons=(asked[e.field],),
                needs_review=True)
        if e.is_current and e.field in asked else e
        for e in visit.fields
    ))  # fmt: skip


def sums_told(visit: VisitState) -> set[SumTold]:
    """The sums that a person was told of, by the decisions that stand."""
    told = (t for e in visit.fields if e.decision for t in e.decision.told)
    return {t for t in told if isinstance(t, SumTold)}


def sum_off(names: Sequence[str], values: Sequence[str | None]) -> Reason | None:
    """What is wrong with a total (first) and its parts, if anything; None: not recorded. Where
    parts are missing, the others may still exceed the total.
    """
    total, *parts = (int(v) if v is not None and v.isdecimal() else None for v in values)
    known = [part for part in parts if part is not None]
    if total is None or not known:
        return None
    if len(known) == len(parts) and sum(known) != total:
        return because(Code.SUM_OFF, total=total, parts=sum(known), fields=list(names))
    if len(known) < len(parts) and sum(known) > total:
        return because(Code.PARTS_EXCEED, total=total, parts=sum(known), fields=list(names))
    return None


def sums_off(
    study: Study, values: Mapping[str, str | None], changed: Collection[str]
) -> dict[SumTold, str]:
    """The sums that do not fit and have a ``changed`` field in them, each in words."""
    labels = {spec.name: spec.label for spec in study.fields}
    found = {}
    for rule in study.sums:
        names = rule.fields
        texts = tuple(values.get(name) for name in names)
        if set(names) & set(changed) and (reason := sum_off(names, texts)) is not None:
            some = reason.code is Code.PARTS_EXCEED
            parts = "the parts written down already" if some else "its parts"
            said = f"{labels[rule.total]} is {reason['total']}, {parts} add to {reason['parts']}"
            found[SumTold(names, texts)] = said
    return found
