"""How far two people who looked without each other agree: Cohen's kappa with its interval."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

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
    count = len(pairs)
    if count == 0:
        return None
    same = sum(one == other for one, other in pairs)
    cells = {pair: n / count for pair, n in Counter(pairs).items()}
    rows = Counter[str]()
    columns = Counter[str]()
    for one, other in pairs:
        rows[one] += 1
        columns[other] += 1
    row = {name: n / count for name, n in rows.items()}
    column = {name: n / count for name, n in columns.items()}
    chance = sum(share * column.get(name, 0.0) for name, share in row.items())
    if chance >= 1.0:
        return Agreement(count, same, None, None, None)
    kappa = (same / count - chance) / (1 - chance)
    spread = 0.0
    for (one, other), share in cells.items():
        if one == other:
            spread += share * (1 - (row[one] + column[one]) * (1 - kappa)) ** 2
        else:
            both = column.get(one, 0.0) + row.get(other, 0.0)
            spread += (1 - kappa) ** 2 * share * both**2
    spread -= (kappa - chance * (1 - kappa)) ** 2
    error = math.sqrt(max(spread, 0.0) / count) / (1 - chance)
    half = TWO_SIDED_95 * error
    return Agreement(count, same, kappa, kappa - half, kappa + half)
