"""How far wrong readings at the promised rate could move the main figure, by simulation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sheet_reader.results.update.pairs import ARMS
from sheet_reader.results.update.typical_site import Array, peak, site_counts

_NUMBERS = [f"{kind}_{arm}" for kind in ("value", "effort") for arm in ARMS]
_WRONG = 100
"""Tries to draw a wrong value inside the plausible range."""


@dataclass(frozen=True, slots=True)
class Misreading:
    """``shift`` is what 95 in 100 simulated seasons stay within: |change of the ratio| in
    hundredths of the control plot (percentage points). ``wrong`` is how many of the ``values``
    would be wrong on average, ``rate`` the promised share.
    """

    rate: float
    values: int
    wrong: float
    shift: float
    seasons: int


def misreading(
    visits: pd.DataFrame,
    rate: float,
    *,
    with_effort: bool,
    highest: int | None = None,
    seasons: int = 400,
    seed: int = 0,
) -> Misreading:
    """Misread one digit of each value with chance ``rate`` and work the figure out anew.

    Counts that nobody has looked at (status accepted) can be wrong, and efforts too. A wrong value
    beyond ``highest`` would have been asked about, so it is drawn again. Wrong sites and dates,
    which the reader guards four times as well, take no part.
    """
    rng = np.random.default_rng(seed)
    places, _ = pd.factorize(visits["site"], sort=True)
    columns = {name: visits[name].to_numpy(dtype=float, copy=True) for name in _NUMBERS}
    fallible: list[tuple[str, int, int | None, int]] = []
    for arm in ARMS:
        accepted = (visits[f"status_{arm}"] == "accepted").to_numpy()
        fallible += [(f"value_{arm}", i, highest, 0) for i in np.flatnonzero(accepted).tolist()]
        if with_effort:
            effort = columns[f"effort_{arm}"]
            whole = np.flatnonzero(effort == np.round(effort)).tolist()
            fallible += [(f"effort_{arm}", i, None, 1) for i in whole]
    drawn = [_sums(places, columns)]
    for _ in range(seasons):
        hit = np.flatnonzero(rng.random(len(fallible)) < rate)
        wrong = {name: values.copy() for name, values in columns.items()}
        for name, place, top, least in (fallible[h] for h in hit):
            wrong[name][place] = wrong_value(int(columns[name][place]), rng, least, top)
        drawn.append(_sums(places, wrong))
    treated, total, offset = (np.stack(part) for part in zip(*drawn, strict=True))
    best = peak((treated, total, offset))
    ratios = np.exp(best.theta)
    shifts = np.abs(ratios[1:] - ratios[0])
    return Misreading(
        rate=rate,
        values=len(fallible),
        wrong=rate * len(fallible),
        shift=100 * float(np.quantile(shifts, 0.95)),
        seasons=seasons,
    )


def wrong_value(
    value: int, rng: np.random.Generator, least: int = 0, highest: int | None = None
) -> int:
    """``value`` with one digit replaced by another one, between ``least`` and ``highest``."""
    digits = str(value)
    for _ in range(_WRONG):
        place = int(rng.integers(len(digits)))
        digit = (int(digits[place]) + int(rng.integers(1, 10))) % 10
        wrong = int(digits[:place] + str(digit) + digits[place + 1 :])
        if wrong >= least and (highest is None or wrong <= highest):
            return wrong
    return value


def _sums(places: NDArray[np.intp], columns: dict[str, Array]) -> tuple[Array, Array, Array]:
    ratio = columns["effort_treated"] / columns["effort_control"]
    sums = site_counts(places, columns["value_treated"], columns["value_control"], ratio)
    return sums.treated, sums.total, sums.offset
