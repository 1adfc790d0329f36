"""Counts by week, plot, stage and site: the tables behind the pictures."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import t as student

from sheet_reader.record.history.states import RECORDED
from sheet_reader.results.update.frame import WAITING, usable
from sheet_reader.results.update.model import Outline

LEAST_FOR_INTERVAL = 3
"""A week with fewer sites gets a mean but no interval."""


def with_week(counts: pd.DataFrame, outline: Outline) -> pd.DataFrame:
    """``counts`` with ``week``: the first day of the week (or longer interval between visits),
    counted from the season's first day, of the day that a visit was meant for, where that is known,
    or else of the visit. Visits before that day fall into earlier weeks.
    """
    day = counts["visit_date"]
    if "meant" in counts.columns:
        day = counts["meant"].fillna(day)
    period = max(7, outline.interval_days)
    first = pd.Timestamp(outline.first)
    number = (day - first).dt.days // period
    return counts.assign(week=first + pd.to_timedelta(number * period, unit="D"))


def weekly_means(counts: pd.DataFrame, outline: Outline, count: str) -> pd.DataFrame:
    """Columns week, plot, sites, mean, lower, upper: densities, averaged over sites.

    The interval is the t interval of the sites' densities of that week (95 %, for this week
    alone), cut at 0, and missing below three sites.
    """
    mine = usable(counts[counts["count"] == count], outline.effort is not None)
    sites = (
        with_week(mine, outline)
        .groupby(["week", "plot", "site"], as_index=False)[["value", "effort"]]
        .sum()
    )
    sites["density"] = sites["value"] / sites["effort"]
    found = sites.groupby(["week", "plot"])["density"].agg(["size", "mean", "std"]).reset_index()
    reach = student.ppf(0.975, np.maximum(found["size"] - 1, 1)) * (
        found["std"] / np.sqrt(found["size"])
    )
    known = found["size"] >= LEAST_FOR_INTERVAL
    return pd.DataFrame(
        {
            "week": found["week"],
            "plot": found["plot"],
            "sites": found["size"],
            "mean": found["mean"],
            "lower": (found["mean"] - reach).clip(lower=0).where(known),
            "upper": (found["mean"] + reach).where(known),
        }
    )


def stage_shares(counts: pd.DataFrame, outline: Outline) -> pd.DataFrame:
    """Columns week, plot, stage, counted, share. Only plots and visits with every stage recorded.

    The two compared plots stand apart; in a study without comparison all plots are one (plot is
    then empty). ``share`` is missing where nothing was counted.
    """
    names = [stage.name for stage in outline.stages]
    mine = usable(counts[counts["count"].isin(names)], with_effort=False)
    if outline.compares:
        mine = mine[mine["plot"].isin([outline.treated, outline.control])]
    wide = mine.pivot(index=["site", "visit_date", "plot"], columns="count", values="value")
    wide = wide.reindex(columns=names).dropna().reset_index()
    wide = with_week(wide, outline)
    if not outline.compares:
        wide["plot"] = ""
    sums = wide.groupby(["week", "plot"], as_index=False)[names].sum()
    long = sums.melt(["week", "plot"], names, "stage", "counted")
    every = long.groupby(["week", "plot"])["counted"].transform("sum")
    long["share"] = (long["counted"] / every).where(every > 0)
    order = {name: place for place, name in enumerate(names)}
    return long.sort_values(
        ["plot", "week", "stage"],
        key=lambda c: c.map(order) if c.name == "stage" else c,
        ignore_index=True,
    )


def site_weeks(counts: pd.DataFrame, outline: Outline, count: str) -> pd.DataFrame:
    """Columns site, site_name, week, density, waiting: one line per site and week with anything.

    ``density`` is over all plots together, missing where nothing is recorded; ``waiting`` counts
    values that wait for a person.
    """
    mine = with_week(counts[counts["count"] == count], outline)
    good = usable(mine, outline.effort is not None)
    sums = good.groupby(["site", "week"])[["value", "effort"]].sum()
    waiting = mine["status"].isin(WAITING).groupby([mine["site"], mine["week"]]).sum()
    table = mine.groupby(["site", "week"]).agg(site_name=("site_name", "first"))
    table["density"] = sums["value"] / sums["effort"]
    table["waiting"] = waiting
    return table.reset_index()[["site", "site_name", "week", "density", "waiting"]]


def totals(counts: pd.DataFrame, outline: Outline) -> pd.DataFrame:
    """Columns count, plot, recorded, total, mean (per effort) of the compared count and the
    stages, in the outline's order.
    """
    names = dict.fromkeys([outline.count.name, *(stage.name for stage in outline.stages)])
    good = counts[counts["status"].isin(RECORDED) & counts["value"].notna()]
    dense = usable(counts, outline.effort is not None)
    lines = []
    for name in names:
        for plot in outline.plots:
            every = good[(good["count"] == name) & (good["plot"] == plot.name)]
            per = dense[(dense["count"] == name) & (dense["plot"] == plot.name)]
            effort = float(per["effort"].sum())
            mean = float(per["value"].sum()) / effort if effort else np.nan
            lines.append((name, plot.name, len(every), int(every["value"].sum()), mean))
    return pd.DataFrame(lines, columns=["count", "plot", "recorded", "total", "mean"])
