"""Former states of a study: read by the rules of today, and what the names meant in them.

Fields are matched by their names; what a name means are the words that stand for it on its sheets.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace

from sheet_reader.study.study import CountField, FieldSpec, Study, SumRule

Names = Mapping[str, str]
"""The present full names of those fields that have another one now."""
SAME: Names = {}
Key = tuple[str, str]
"""A kind of :data:`TERMS` and a name (of a site: its number, of a sum: its total)."""
Wording = Mapping[Key, str]
TERMS = {
    "plot": "plot",
    "count": "count",
    "number": "number in the head",
    "sum": "sum",
    "site": "site",
}
"""What can mean something else, as it is called to a person."""


def by_present_rules(former: Study, present: Study, names: Names = SAME) -> Study:
    """The fields, names and boxes of ``former`` with the ranges, sums, season, visits, sites and
    allowed error of ``present``. A field that ``present`` does not have keeps its own range; a sum
    holds where all its fields are there.
    """
    now = {spec.name: spec for spec in present.fields}
    def header(field: FieldSpec) -> FieldSpec:
        spec = now.get(names.get(field.name, field.name))
        if spec is None or field.kind.is_key or spec.kind != field.kind:
            return field
        return replace(field, lowest=spec.lowest, highest=spec.highest)

    def count(field: CountField) -> CountField:
        full = (f"{plot.name}.{field.name}" for plot in former.plots)
        called = (names.get(name, name) for name in full)
        spec = next((now[name] for name in called if name in now), None)
        if spec is None or spec.lowest is None or spec.highest is None:
            return field
        return replace(field, lowest=spec.lowest, highest=spec.highest)

    then = {names.get(spec.name, spec.name): spec.name for spec in former.fields}
    sums = tuple(
        SumRule(then[rule.total], tuple(then[part] for part in rule.parts))
        for rule in present.sums
        if set(rule.fields) <= then.keys()
    )
    return replace(
        former,
        header=tuple(header(field) for field in former.header),
        counts=tuple(count(field) for field in former.counts),
        sums=sums,
        season=present.season,
        visits=present.visits,
        allowed_error=present.allowed_error,
    )


def wording_of(study: Study) -> dict[Key, str]:
    """The words of every plot (label, treatment), count and number (label, unit) and sum (parts).

    >>> wording_of(study)["count", "minutes"]  # doctest: +SKIP
    'Time searched (min)'
    """
    effort = {study.effort.field: study.effort.unit} if study.effort else {}
    found = {("plot", p.name): _with(p.label, p.treatment) for p in study.plots}
    found |= {
        ("count", c.name): _with(c.label, c.unit, effort.get(c.name, "")) for c in study.counts
    }
    found |= {
        ("number", h.name): _with(h.label, effort.get(h.name, ""))
        for h in study.header
        if not h.kind.is_key
    }
    return found | {("sum", total): " + ".join(parts) for total, parts in sums_of(study).items()}


def sums_of(study: Study) -> dict[str, list[str]]:
    """The parts of each total, sorted: names of counts where it holds within each plot."""
    found: dict[str, list[str]] = {}
    for rule in study.sums:
        names = [name.rpartition(".") for name in rule.fields]
        within = len({plot for plot, _, _ in names}) == 1
        total, *parts = (name[2] if within else "".join(name) for name in names)
        found[total] = sorted(parts)
    return found


def site_labels(study: Study) -> dict[Key, str]:
    """The label of every site on the list."""
    return {("site", site.number): site.label for site in study.sites}


def _with(label: str, *more: str) -> str:
    told = ", ".join(dict.fromkeys(filter(None, more)))
    return f"{label} ({told})" if told else label


def as_text(wording: Wording) -> str:
    """The wording as the record keeps it (JSON); the same words give the same text."""
    return json.dumps([[*key, said] for key, said in sorted(wording.items())], ensure_ascii=False)


def from_text(text: str) -> dict[Key, str]:
    """The wording that :func:`as_text` has written."""
    return {(kind, name): said for kind, name, said in json.loads(text)}
