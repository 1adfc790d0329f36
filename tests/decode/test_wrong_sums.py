"""Totals written wrong, of every kind: what is accepted is what stands there."""

from __future__ import annotations

import numpy as np
import pytest

from sheet_reader.decode.sheet import Rules, decode_sheet
from sheet_reader.simulate.values import ADDITION_ERRORS, wrong_total

FIELDS = ("a.eggs", "a.small", "a.large", "a.total")
HEAD = {"site": "2043", "visit_date": "200526", "helpers": "_3", "a.plants": "12"}


@pytest.mark.parametrize("error", ADDITION_ERRORS)
def test_no_wrong_total_changes_what_is_accepted(error, beans, written, reader, today):
    """A reader of known, calibrated doubt; fields that go wrong without the rule don't count."""
    rng = np.random.default_rng(ADDITION_ERRORS.index(error))
    misled = []
    for seed in range(8):
        parts = [min(30, int(rng.geometric(1 / 8)) - 1) for _ in range(3)]
        total = wrong_total(error, parts, sum(parts), 240, rng)
        values = dict(zip(FIELDS, (*parts, total), strict=True))
        boxes = {n: str(v).rjust(3 if n == "a.total" else 2, "_") for n, v in values.items()}
        sheet = written(beans, {**HEAD, **boxes})
        read = reader(seed, noise=0.2)(sheet.flat())
        with_sums, without = (
            {f.field: f for f in _decoded(sheet.view(), read, beans, today, rules)}
            for rules in (Rules.ALL, Rules.ALL & ~Rules.SUMS)
        )
        for name, value in values.items():
            if _accepted_as_else(with_sums[name], value) and not _accepted_as_else(
                without[name], value
            ):
                misled.append((seed, name, value, with_sums[name]))
    assert misled == []


def _decoded(view, read, study, today, rules):
    return decode_sheet(view, read, study, today, threshold=0.96, rules=rules).fields


def _accepted_as_else(field, value: int) -> bool:
    return field.status != "flagged" and field.value != str(value)


def test_a_sum_settles_no_more_than_a_part_of_a_doubt(beans, written, stated, today):
    """A part that is 5 or 6, and a total that fits the 6: too common an error in adding."""
    unsure = ["_", {"6": 0.8078, "5": 0.1921}]
    sheet = written(beans, {**HEAD, "a.eggs": unsure, "a.small": "_2", "a.large": "_2",
                            "a.total": "_10"})  # fmt: skip
    read, rules = stated(sheet.flat()), Rules.ALL & ~Rules.WRITER
    fields = {f.field: f for f in _decoded(sheet.view(), read, beans, today, rules)}
    assert fields["a.eggs"].status == "flagged"
    assert fields["a.eggs"].confidence == pytest.approx(1 - 0.1922 / 4, abs=0.003)
    assert fields["a.total"].status == "accepted"
