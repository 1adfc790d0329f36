"""Pairs of plots at one site on one day, and their sums over the season."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sheet_reader.record.history.states import RECORDED
from sheet_reader.results.update.frame import WAITING
from sheet_reader.results.update.missed import Missed, missed_with_counts
from sheet_reader.results.update.model import Outline
from sheet_reader.results.update.typical_site import SiteCounts, site_counts

ARMS = ("treated", "control")


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
        return self.waiting + self.unreadable + self.not_recorded + self.no_effort + self.alone


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
    recorded = mine["status"].isin(RECORDED) & mine["value"].notna()
    good = recorded & (mine["effort"] > 0)
    visits = _side_by_side(mine[good])
    waiting = mine["status"].isin(WAITING)
    unreadable = mine["status"] == "unreadable"
    left = LeftOut(
        waiting=int(waiting.sum()),
        unreadable=int(unreadable.sum()),
        not_recorded=int((~recorded & ~waiting & ~unreadable).sum()),
        no_effort=int((recorded & ~good).sum()),
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
    grouped = visits.groupby("site", sort=True)
    sites = grouped.agg(
        site_name=("site_name", "first"),
        visits=("visit_date", "size"),
        value_treated=("value_treated", "sum"),
        effort_treated=("effort_treated", "sum"),
        value_control=("value_control", "sum"),
        effort_control=("effort_control", "sum"),
    ).reset_index()
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
