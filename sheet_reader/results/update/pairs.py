"""Pairs of plots at one site on one day: their sums, what is missing, and what may be misread.

*Whether what is missing goes with the counts*: then the comparison is off, and no range tells it.
Two tests, each within strata, so that sites which miss more or have more animals don't matter: a
plot without a value, by the count of its partner on that day (a stratum is a plot of a site); and
a visit not made, by how much the other sites found that week (a stratum is a site, between its
first visit and its last). The score of each stratum has mean and variance as if the missing ones
were drawn at random from it (the stratified permutation test of Mantel 1963, J. Am. Stat. Assoc.
58:690-700; from memory).

*How far wrong readings* at the promised rate could move the main figure is simulated.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple, dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sheet_reader.results.facts import WAITING
from sheet_reader.results.update.frame import recorded
from sheet_reader.results.update.outline import Outline
from sheet_reader.results.update.typical_site import Array, SiteCounts, peak, site_counts

ARMS = ("treated", "control")
_NUMBERS = [f"{kind}_{arm}" for kind in ("value", "effort") for arm in ARMS]
_WRONG = 100
"""Tries to draw a wrong value inside the plausible range."""
_DOUBTFUL = 2.576
"""Beyond this (two-sided 1 %) the tests warn."""
_WEEK = 7


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Values of the compared count and plots that take no part, by reason.

    ``waiting`` values wait for a person, ``unreadable`` can't be read, ``not_recorded`` were left
    empty, ``no_effort`` lack the effort they would be divided by; ``alone`` are good values whose
    other plot has none at that visit. Each value stands under one reason.
    """

    waiting: int
    unreadable: int
    not_recorded: int
    no_effort: int
    alone: int

    @property
    def total(self) -> int:
        """All values left out."""
        return sum(astuple(self))


@dataclass(frozen=True, slots=True)
class Missed:
    """``plot`` and ``visit`` are the scores of both tests, standard normal where all is by chance:
    positive where more is missing with many animals, 0 where there is nothing to test.
    """

    plot: float
    visit: float

    @property
    def way(self) -> int:
        """1: more is missing where there are many animals, -1: where there are few, 0: neither."""
        worst = max(self.plot, self.visit, key=abs)
        return int(np.sign(worst)) if abs(worst) > _DOUBTFUL else 0


@dataclass(frozen=True, slots=True, eq=False)
class Paired:
    """``visits``: a line per site and date with both plots; ``sites``: their sums per site;
    ``missed``: whether what is missing goes with the counts.
    """

    visits: pd.DataFrame
    sites: pd.DataFrame
    left_out: LeftOut
    missed: Missed


def pair_visits(counts: pd.DataFrame, outline: Outline, count: str) -> Paired:
    """Pair the treated and the control plot by site and date (``counts`` is checked)."""
    mine = counts[
        (counts["count"] == count) & counts["plot"].isin([outline.treated, outline.control])
    ].copy()
    mine["arm"] = np.where(mine["plot"] == outline.treated, "treated", "control")
    mine["value"] = mine["value"].astype("Float64").astype(float)
    effort = mine["effort"].astype("Float64").astype(float)
    mine["effort"] = effort if outline.effort else 1.0
    known = recorded(mine)
    good = known & (mine["effort"] > 0)
    visits = _side_by_side(mine[good])
    waiting, unreadable = (int((mine["status"] == s).sum()) for s in (WAITING, "unreadable"))
    left = LeftOut(
        waiting=waiting,
        unreadable=unreadable,
        not_recorded=int((~known).sum()) - waiting - unreadable,
        no_effort=int((known & ~good).sum()),
        alone=int(good.sum()) - 2 * len(visits),
    )
    return Paired(visits, sum_sites(visits), left, missed_with_counts(mine[good]))


def _side_by_side(good: pd.DataFrame) -> pd.DataFrame:
    columns = ["site", "site_name", "visit_date", "value", "effort", "status"]
    treated, control = (good.loc[good["arm"] == arm, columns] for arm in ARMS)
    both = treated.merge(
        control.drop(columns="site_name"),
        on=["site", "visit_date"],
        suffixes=("_treated", "_control"),
        validate="one_to_one",
    )
    return both.sort_values(["site", "visit_date"], ignore_index=True)


def sum_sites(visits: pd.DataFrame) -> pd.DataFrame:
    """Sums over the season of each site, densities (count per effort) and their ``ratio``, treated
    to control: infinite where the control plot has no find, missing where neither has.
    ``effort_ratio`` is the one that the comparison takes for the site.
    """
    summed = {f"{kind}_{arm}": (f"{kind}_{arm}", "sum")
              for arm in ARMS for kind in ("value", "effort")}  # fmt: skip
    sites = visits.groupby("site", sort=True).agg(
        site_name=("site_name", "first"), visits=("visit_date", "size"), **summed
    ).reset_index()  # fmt: skip
    for arm in ARMS:
        sites[f"density_{arm}"] = sites[f"value_{arm}"] / sites[f"effort_{arm}"]
    with np.errstate(divide="ignore", invalid="ignore"):
        sites["ratio"] = sites["density_treated"] / sites["density_control"]
    sites["effort_ratio"] = np.exp(counts_of(visits).offset)
    return sites


def counts_of(visits: pd.DataFrame) -> SiteCounts:
    """The sums of each site, sites in order of their number, as the comparison takes them."""
    places, _ = pd.factorize(visits["site"], sort=True)
    ratio = visits["effort_treated"] / visits["effort_control"]
    treated, control = (visits[f"value_{arm}"].to_numpy(dtype=float) for arm in ARMS)
    return site_counts(places, treated, control, ratio.to_numpy(dtype=float))


def missed_with_counts(good: pd.DataFrame) -> Missed:
    """Test the values that count: site, visit_date, arm, value and effort, a line each."""
    if not len(good):
        return Missed(0.0, 0.0)
    wide = good.pivot(index=["site", "visit_date"], columns="arm", values="value")
    wide = wide.reindex(columns=ARMS)
    plots = (
        (np.log1p(part[other].to_numpy()), part[mine].isna().to_numpy())
        for mine, other in (ARMS, ARMS[::-1])
        for _, part in wide[wide[other].notna()].groupby("site")
    )
    return Missed(_score(plots), _score(_visits(good)))


def _visits(good: pd.DataFrame) -> Iterable[tuple[NDArray[np.float64], NDArray[np.bool_]]]:
    """For each site: how much the others found in each week, and whether it has none itself."""
    week = (good["visit_date"] - good["visit_date"].min()).dt.days // _WEEK
    density = np.log1p(good["value"]) - np.log(good["effort"] / good["effort"].mean())
    table = density.groupby([good["site"], week]).mean().unstack()
    known = table.notna().to_numpy()
    values = np.where(known, table.to_numpy(), 0.0)
    others = known.sum(axis=0) - known
    mean = (values.sum(axis=0) - values) / np.maximum(others, 1)
    for row, here in enumerate(known):
        made = np.flatnonzero(here)
        between = np.arange(made[0] + 1, made[-1])
        between = between[others[row, between] > 0]
        yield mean[row, between], ~here[between]


def _score(strata: Iterable[tuple[NDArray[np.float64], NDArray[np.bool_]]]) -> float:
    total = variance = 0.0
    for x, missing in strata:
        n, k = len(x), int(missing.sum())
        if 0 < k < n:
            total += float(x[missing].sum() - k * x.mean())
            variance += k * (n - k) / (n - 1) * float(x.var())
    return total / float(np.sqrt(variance)) if variance > 1e-12 else 0.0


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
