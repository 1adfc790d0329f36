"""How far two people who looked without each other agree: Cohen's kappa with its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

TWO_SIDED_95 = float(norm.ppf(0.975))


@dataclass(frozen=True, slots=True)
class Agreement:
    """Of ``fields`` seen by two, ``same`` were given the same value. ``kappa`` is the agreement
    beyond chance, with a two-sided 95 % interval; None where chance alone would agree.
    """

    fields: int
    same: int
    kappa: float | None
    low: float | None
    high: float | None

    @property
    def sentence(self) -> str:
        """In words."""
        told = f"{self.fields} asked of two people: {self.same} answered alike"
        if self.kappa is None or self.low is None or self.high is None:
            return f"{told}."
        return (
            f"{told}; Cohen's kappa {self.kappa:.2f} "
            f"(95 % interval {max(self.low, -1):.2f} to {min(self.high, 1):.2f})."
        )


def agreement(pairs: Sequence[tuple[str, str]]) -> Agreement | None:
    """The agreement of pairs of answers (Cohen 1960); None for no pair.

    The variance is the asymptotic one of Fleiss, Cohen & Everitt 1969 (Psychological Bulletin
    72:323); with few pairs the interval is rough.
    """
    if not pairs:
        return None
    names = sorted({name for pair in pairs for name in pair})
    table = np.zeros((len(names), len(names)))
    for one, other in pairs:
        table[names.index(one), names.index(other)] += 1 / len(pairs)
    rows, columns, same = table.sum(1), table.sum(0), float(np.trace(table))
    alike = sum(one == other for one, other in pairs)
    chance = float(rows @ columns)
    if len(names) == 1:
        return Agreement(len(pairs), alike, None, None, None)
    kappa = (same - chance) / (1 - chance)
    weights = -(1 - kappa) * (rows[None, :] + columns[:, None])
    np.fill_diagonal(weights, 1 - (rows + columns) * (1 - kappa))
    spread = float((table * weights**2).sum()) - (kappa - chance * (1 - kappa)) ** 2
    half = TWO_SIDED_95 * math.sqrt(max(spread, 0.0) / len(pairs)) / (1 - chance)
    return Agreement(len(pairs), alike, kappa, kappa - half, kappa + half)
