"""The season week by week: counts by week, plot, stage and site, each with picture and table."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import t as student

from sheet_reader.results.facts import WAITING
from sheet_reader.results.update import pictures
from sheet_reader.results.update.frame import recorded, usable
from sheet_reader.results.update.outline import Outline
from sheet_reader.results.update.sections import Illustration, Section, TextTable, UpdateData

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
    grouped = with_week(mine, outline).groupby(["week", "plot", "site"], as_index=False)
    sites = grouped[["value", "effort"]].sum()
    sites["density"] = sites["value"] / sites["effort"]
    found = sites.groupby(["week", "plot"])["density"].agg(["size", "mean", "std"]).reset_index()
    reach = student.ppf(0.975, np.maximum(found["size"] - 1, 1)) * (
        found["std"] / np.sqrt(found["size"])
    )
    known = found["size"] >= LEAST_FOR_INTERVAL
    found["lower"] = (found["mean"] - reach).clip(lower=0).where(known)
    found["upper"] = (found["mean"] + reach).where(known)
    return found.rename(columns={"size": "sites"}).drop(columns="std")


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
    # melted stage by stage: a stable sort keeps their order
    return long.sort_values(["plot", "week"], kind="stable", ignore_index=True)


def site_weeks(counts: pd.DataFrame, outline: Outline, count: str) -> pd.DataFrame:
    """Columns site, site_name, week, density, waiting: one line per site and week with anything.

    ``density`` is over all plots together, missing where nothing is recorded; ``waiting`` counts
    values that wait for a person.
    """
    mine = with_week(counts[counts["count"] == count], outline)
    good = usable(mine, outline.effort is not None)
    sums = good.groupby(["site", "week"])[["value", "effort"]].sum()
    waiting = (mine["status"] == WAITING).groupby([mine["site"], mine["week"]]).sum()
    table = mine.groupby(["site", "week"]).agg(site_name=("site_name", "first"))
    table["density"] = sums["value"] / sums["effort"]
    table["waiting"] = waiting
    return table.reset_index()[["site", "site_name", "week", "density", "waiting"]]


def totals(counts: pd.DataFrame, outline: Outline) -> pd.DataFrame:
    """Columns count, plot, recorded, total, mean (per effort) of the compared count and the
    stages, in the outline's order.
    """
    names = dict.fromkeys([outline.count.name, *(stage.name for stage in outline.stages)])
    good = counts[recorded(counts)]
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


def weeks_section(data: UpdateData) -> Section | None:
    """Weekly means and the sites-by-weeks pictures."""
    means = weekly_means(data.counts, data.outline, data.outline.count.name)
    if not len(means):
        return None
    heading = data.words("heading_weeks")
    if data.found:
        return Section("weeks", heading, pictures=(_means(data, means), *_grids(data)))
    sites = data.sites(data.counts["site"].nunique())
    text = data.words("weeks_none", count=data.outline.count.label, sites=sites)
    return Section("weeks", heading, texts=(text,))


def _means(data: UpdateData, means: pd.DataFrame) -> Illustration:
    words, outline = data.words, data.outline
    own = None
    if data.update.for_site:
        mine = data.counts[data.counts["site"] == data.update.for_site]
        own = weekly_means(mine, outline, outline.count.name)
    lines = [
        (
            data.day(line["week"]), outline.plot_label(line["plot"]), str(line["sites"]),
            *(data.number(line[key]) for key in ("mean", "lower", "upper")),
        )
        for _, line in means.iterrows()
    ]  # fmt: skip
    header = ("col_week", "col_plot", "col_sites", "col_site_mean", "col_lower", "col_upper")
    said: dict[tuple[pd.Timestamp, str], list[str]] = {}
    for week, (day, plot, _, mean, *_) in zip(means["week"], lines, strict=True):
        said.setdefault((week, day), []).append(f"{plot} {mean}")
    weeks = [words("alt_week", day=day, means=", ".join(each)) for (_, day), each in said.items()]
    alt = words("alt_weeks", density=data.density, weeks="; ".join(weeks))
    drawing = pictures.draw_weeks(means, data, alt, own)
    table = data.table("table_weeks", header, lines, texts=2)
    return Illustration("weeks", drawing, words("picture_weeks"), alt, table)


def _grids(data: UpdateData) -> list[Illustration]:
    """As many pictures as the sites need; more than one go without numbers in their cells."""
    cells = site_weeks(data.counts, data.outline, data.outline.count.name)
    weeks = sorted(cells["week"].unique())
    names = cells.drop_duplicates("site").sort_values(["site_name", "site"])["site"].to_list()
    top = float(cells["density"].max()) if cells["density"].notna().any() else 1.0
    numbers = len(names) <= pictures.ROWS_A_PANEL
    rows = pictures.ROWS_A_PANEL if numbers else pictures.ROWS_OF_MANY
    caption = data.words("picture_grid" if numbers else "picture_grid_shades", density=data.density)
    found = []
    for number, start in enumerate(range(0, len(names), rows), 1):
        sites = names[start : start + rows]
        part = cells[cells["site"].isin(sites)]
        known = part["density"].dropna()
        alt = data.words(
            "alt_grid", sites=data.sites(len(sites)), weeks=data.words.count("n_weeks", len(weeks)),
            filled=len(known), cells=len(sites) * len(weeks), low=data.number(known.min()),
            high=data.number(known.max()),
            waiting=int((part["density"].isna() & (part["waiting"] > 0)).sum()),
        )  # fmt: skip
        name = f"sites-{number}"
        drawing = pictures.draw_sites(part, weeks, data, alt, name, top, numbers=numbers)
        table = _grid_table(data, part, weeks)
        found.append(Illustration(name, drawing, caption, alt, table))
    return found


def _grid_table(data: UpdateData, cells: pd.DataFrame, weeks: list[pd.Timestamp]) -> TextTable:
    rows = []
    for _, lines in cells.sort_values(["site_name", "site"]).groupby("site", sort=False):
        shown = {
            line["week"]: data.words("waits")
            if pd.isna(line["density"]) and line["waiting"]
            else data.number(line["density"])
            for _, line in lines.iterrows()
        }
        none = data.words("none")
        rows.append((str(lines["site_name"].iloc[0]), *(shown.get(week, none) for week in weeks)))
    header = (data.words("col_site"), *map(data.day, weeks))
    return TextTable(data.words("table_grid"), header, tuple(rows))


def stages_section(data: UpdateData) -> Section | None:
    """The composition of the stages by week."""
    words, outline = data.words, data.outline
    if len(outline.stages) < 2:
        return None
    shares = stage_shares(data.counts, outline)
    if not len(shares):
        return None
    if not shares["counted"].any():
        return Section("stages", words("heading_stages"), texts=(words("stages_none"),))
    labels = {stage.name: stage.label for stage in outline.stages}
    lines = [
        (
            outline.plot_label(line["plot"]) if line["plot"] else words("all_plots"),
            data.day(line["week"]), labels[line["stage"]], f"{line['counted']:.0f}",
            words("none") if pd.isna(line["share"]) else words.percent(line["share"]),
        )
        for _, line in shares.iterrows()
    ]  # fmt: skip
    header = ("col_plot", "col_week", "col_stage", "col_counted", "col_share")
    said: dict[tuple[str, pd.Timestamp, str], list[str]] = {}
    keys = shares[["plot", "week"]].itertuples(index=False, name=None)
    for (name, week), (plot, day, stage, _, share) in zip(keys, lines, strict=True):
        said.setdefault((name, week, f"{plot}, {day}"), []).append(f"{stage} {share}")
    panels = [words("alt_week", day=day, means=", ".join(each)) for (*_, day), each in said.items()]
    alt = words("alt_stages", panels="; ".join(panels))
    drawing = pictures.draw_stages(shares, data, alt)
    table = data.table("table_stages", header, lines, texts=3)
    picture = Illustration("stages", drawing, words("picture_stages"), alt, table)
    return Section("stages", words("heading_stages"), pictures=(picture,))
