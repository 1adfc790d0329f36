"""A picture read once more with the site's earlier counts, which may raise doubts but not lay any.

Only a first reading tells site and date, hence two. The shipped calibration, on which the promise
about accepted fields rests, knows no earlier counts: so a field is accepted only where both
readings accept the same value.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from sheet_reader.decode.types import FieldReading, PageReading
from sheet_reader.reading.site_history import Earlier, takes_history
from sheet_reader.vision.types import NoSheet

if TYPE_CHECKING:
    from sheet_reader.reading.look import Outcome


def read_twice(reader: Callable[..., Outcome], call: tuple[Any, ...], earlier: Earlier) -> Outcome:
    """The outcome of ``reader(*call)``, doubted where earlier counts of its sites speak against
    it. Readers that take no history, and sites without any, are read once.
    """
    first = reader(*call)
    history = _history(first, earlier) if takes_history(reader) else {}
    if not history:
        return first
    second = reader(*call, history=history)
    return [_doubted(one, other) for one, other in zip(first, second, strict=True)]


def _history(outcome: Outcome, earlier: Earlier) -> Mapping[str, Any]:
    pages = [item[1] for item in outcome if not isinstance(item, NoSheet)]
    return earlier.before((p.site, p.visit_date) for p in pages if p.site and p.visit_date)


def _doubted(first: Any, second: Any) -> Any:
    if isinstance(first, NoSheet) or isinstance(second, NoSheet):
        return first
    view, page = first
    return view, doubted_page(page, second[1])


def doubted_page(first: PageReading, second: PageReading) -> PageReading:
    """``first`` with every field flagged that ``second``, read with earlier counts, doubts."""
    others = {f.field: f for f in second.fields}
    fields = tuple(_doubted_field(f, others.get(f.field, f)) for f in first.fields)
    return replace(first, fields=fields)


def _doubted_field(first: FieldReading, second: FieldReading) -> FieldReading:
    if first.status != "accepted" or (second.status, second.value) == ("accepted", first.value):
        return first
    against = f"the site's earlier counts speak against {first.value}"
    reason = f"{against}: {second.reason}" if second.reason else against
    return replace(second, status="flagged", reason=reason)
