"""What a volunteer may have counted on one visit: random, yet consistent with the study's rules."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sheet_reader.study.model import FieldSpec, Study

WRONG_SUM_SHARE = 0.03


@dataclass(frozen=True, slots=True)
class Visit:
    """Values of one visit as text by field name; ``wrong_sums`` are totals wrong on purpose."""

    values: dict[str, str]
    wrong_sums: tuple[str, ...]
    site: str
    visit_date: str


def random_visit(
    study: Study, rng: np.random.Generator, site: str | None = None, day: date | None = None
) -> Visit:
    """A visit to ``site`` on ``day`` (default: any of the roster, any of the season). Counts are
    mostly small, sums hold but for :data:`WRONG_SUM_SHARE` of them.
    """
    number = site or study.roster[int(rng.integers(len(study.roster)))].number
    days = (study.season.last - study.season.first).days
    day = day or study.season.first + timedelta(days=int(rng.integers(days + 1)))
    values: dict[str, str] = {}
    for spec in study.fields:
        if spec.kind == "site":
            values[spec.name] = number
        elif spec.kind == "date":
            values[spec.name] = day.isoformat()
        else:
            values[spec.name] = str(_count(spec, rng))
    wrong = _add_up(study, values, rng)
    return Visit(values, wrong, number, day.isoformat())


def _count(spec: FieldSpec, rng: np.random.Generator) -> int:
    """Mostly small, sometimes anything plausible."""
    lowest = spec.lowest or 0
    highest = min(spec.highest if spec.highest is not None else 10**9, 10**spec.boxes - 1)
    if rng.random() < 0.25:
        return int(rng.integers(lowest, highest + 1))
    return int(min(highest, lowest + rng.geometric(1 / (1 + (highest - lowest) * 0.12)) - 1))


def _add_up(study: Study, values: dict[str, str], rng: np.random.Generator) -> tuple[str, ...]:
    specs = {spec.name: spec for spec in study.fields}
    wrong = []
    for rule in study.sums:
        total = sum(int(values[part]) for part in rule.parts)
        spec = specs[rule.total]
        most = min(10**spec.boxes - 1, spec.highest if spec.highest is not None else total)
        while total > most:
            largest = max(rule.parts, key=lambda part: int(values[part]))
            values[largest] = str(int(values[largest]) // 2)
            total = sum(int(values[part]) for part in rule.parts)
        if rng.random() < WRONG_SUM_SHARE:
            shifted = total + int(rng.choice([-10, -2, -1, 1, 2, 10]))
            if 0 <= shifted <= most:
                total = shifted
                wrong.append(rule.total)
        values[rule.total] = str(total)
    return tuple(wrong)
