"""How far wrong readings at the promised rate could move the main figure, by simulation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sheet_reader.results.update.pairs import ARMS

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
    codes, _ = pd.factorize(visits["site"], sort=True)
    counts = {arm: visits[f"value_{arm}"].to_numpy(dtype=float, copy=True) for arm in ARMS}
    effort = {arm: visits[f"effort_{arm}"].to_numpy(dtype=float, copy=True) for arm in ARMS}
    fallible: list[tuple[NDArray[np.float64], int, int | None, int]] = []
    for arm in ARMS:
        accepted = (visits[f"status_{arm}"] == "accepted").to_numpy()
        fallible += [(counts[arm], i, highest, 0) for i in np.flatnonzero(accepted).tolist()]
        if with_effort:
            whole = effort[arm] == np.round(effort[arm])
            fallible += [(effort[arm], i, None, 1) for i in np.flatnonzero(whole).tolist()]
    truth = _ratio(codes, counts, effort)
    shifts = np.zeros(seasons)
    for season in range(seasons):
        hit = np.flatnonzero(rng.random(len(fallible)) < rate)
        if not len(hit):
            continue
        before = [(fallible[h][0], fallible[h][1], fallible[h][0][fallible[h][1]]) for h in hit]
        for h in hit:
            values, place, top, least = fallible[h]
            values[place] = wrong_value(int(values[place]), rng, least, top)
        shifts[season] = abs(_ratio(codes, counts, effort) - truth)
        for values, place, value in before:
            values[place] = value
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


def _ratio(
    codes: NDArray[np.intp],
    counts: dict[str, NDArray[np.float64]],
    effort: dict[str, NDArray[np.float64]],
) -> float:
    logs = {
        arm: np.log((np.bincount(codes, counts[arm]) + 0.5) / np.bincount(codes, effort[arm]))
        for arm in ARMS
    }
    return float(np.exp(np.mean(logs["treated"] - logs["control"])))
