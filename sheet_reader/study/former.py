"""A former state of a study, read by the rules of today: fields are matched by their names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from sheet_reader.study.model import CountField, HeaderField, Study, SumRule

Names = Mapping[str, str]
"""The present full names of those fields that have another one now."""
SAME: Names = {}


def by_present_rules(former: Study, present: Study, names: Names = SAME) -> Study:
    """The fields, names and boxes of ``former`` with the ranges, sums, season, visits, sites and
    allowed error of ``present``. A field that ``present`` does not have keeps its own range; a sum
    holds where all its fields are there.
    """
    now = {spec.name: spec for spec in present.fields}
    def header(field: HeaderField) -> HeaderField:
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
        if {rule.total, *rule.parts} <= then.keys()
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
