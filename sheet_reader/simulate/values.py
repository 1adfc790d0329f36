"""What a volunteer may have counted on one visit: random, yet consistent with the study's rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sheet_reader.numbers import SIMULATE
from sheet_reader.study.study import FieldSpec, Study

WRONG_SUM_SHARE = SIMULATE.wrong_sum_share
ADDITION_ERRORS = (
    "off by one or two",
    "carry",
    "part left out",
    "swapped",
    "one digit",
    "anything",
)
"""How a volunteer gets a total wrong; each as often as the others (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Visit:
    """Values of one visit as text by field name; ``wrong_sums`` are totals wrong on purpose."""

    values: dict[str, str]
    wrong_sums: tuple[str, ...]
    site: str
    visit_date: str


def random_visit(
    study: Study, rng: np.random.Generator, site: str | None = None, day: date | None = None,
    wrong_sums: float = WRONG_SUM_SHARE,
) -> Visit:  # fmt: skip
    """A visit to ``site`` on ``day`` (default: any of the site list, any of the season). Counts are
    mostly small, sums hold but for a share ``wrong_sums`` of them.
    """
    number = site or study.sites[int(rng.integers(len(study.sites)))].number
    days = (study.season.last - study.season.first).days
    day = day or study.season.first + timedelta(days=int(rng.integers(days + 1)))
    place = study.placed(number, day.isoformat())
    values = {s.name: place.get(s.name) or str(_count(s, rng)) for s in study.fields}
    wrong = add_up(study, values, rng, wrong_sums)
    return Visit(values, wrong, number, day.isoformat())


def _count(spec: FieldSpec, rng: np.random.Generator) -> int:
    """Mostly small, sometimes anything plausible."""
    lowest = spec.lowest or 0
    highest = min(spec.highest if spec.highest is not None else 10**9, 10**spec.boxes - 1)
    if rng.random() < 0.25:
        return int(rng.integers(lowest, highest + 1))
    return int(min(highest, lowest + rng.geometric(1 / (1 + (highest - lowest) * 0.12)) - 1))


def add_up(
    study: Study, values: dict[str, str], rng: np.random.Generator, share: float = WRONG_SUM_SHARE
) -> tuple[str, ...]:
    """Put the totals into ``values``, a ``share`` of them wrong: returns those."""
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
        if rng.random() < share:
            parts = [int(values[part]) for part in rule.parts]
            wrongly = wrong_total(str(rng.choice(ADDITION_ERRORS)), parts, total, most, rng)
            if wrongly != total:
                total = wrongly
                wrong.append(rule.total)
        values[rule.total] = str(total)
    return tuple(wrong)


def wrong_total(
    error: str, parts: Sequence[int], total: int, most: int, rng: np.random.Generator
) -> int:
    """What is written for ``total``, the sum of ``parts``, after one of :data:`ADDITION_ERRORS`;
    0 to ``most``. Where that kind cannot happen here (nothing to swap) it is any other number.
    """
    found = _wrong_totals(error, parts, total, rng)
    fitting = sorted({value for value in found if 0 <= value <= most and value != total})
    if not fitting:
        fitting = [value for value in range(most + 1) if value != total]
    return int(rng.choice(fitting)) if fitting else total


def _wrong_totals(
    error: str, parts: Sequence[int], total: int, rng: np.random.Generator
) -> Sequence[int]:
    """All totals that this error may lead to; none where anything goes."""
    text = str(total)
    if error == "off by one or two":
        return [total + d for d in (-2, -1, 1, 2)]
    if error == "carry":
        return [total + d for d in (-100, -10, 10, 100)]
    if error == "part left out":
        return [total - part for part in parts]
    if error == "swapped":
        pairs = range(len(text) - 1)
        return [int(text[:i] + text[i + 1] + text[i] + text[i + 2 :]) for i in pairs]
    if error == "one digit":
        at = int(rng.integers(len(text)))
        return [int(text[:at] + digit + text[at + 1 :]) for digit in "0123456789"]
    return []
