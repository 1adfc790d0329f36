"""One site's own numbers among all."""

from __future__ import annotations

import pandas as pd

from sheet_reader.record.history.states import RECORDED
from sheet_reader.results.update.blocks import Section, Table
from sheet_reader.results.update.desk import Desk
from sheet_reader.results.update.frame import WAITING, usable

_LEAST_FOR_HALF = 4
"""With fewer sites there is no middle half."""


def own_section(desk: Desk) -> Section | None:
    """The site's density per plot beside the middle half of all sites, and its counts by date."""
    site, words = desk.update.for_site, desk.words
    if not site:
        return None
    mine = desk.counts[desk.counts["site"] == site]
    if not len(mine):
        heading = words("heading_site", site=site)
        return Section("your-site", heading, words("site_none"))
    days = [day.date() for day in sorted(mine["visit_date"].unique())]
    sites = desk.counts["site"].nunique()
    shown = words.day(days[0]), words.day(days[-1])
    texts = [
        words.count("site_days", len(days), first=shown[0], last=shown[1]),
        words.count("site_among", sites),
        *_densities(desk),
    ]
    if desk.found:
        texts.append(words("site_in_pictures"))
    return Section(
        "your-site",
        words("heading_site", site=str(mine["site_name"].iloc[0])),
        _looked(desk, mine, len(days)),
        tuple(texts),
        tables=(_table(desk, mine),),
    )


def _looked(desk: Desk, mine: pd.DataFrame, visits: int) -> str:
    """How often they looked and what they counted: the section's main sentence."""
    words, count = desk.words, desk.outline.count
    values = usable(mine[mine["count"] == count.name], with_effort=False)["value"]
    found = int(values.sum())
    key = "site_looked" if not len(values) else "site_found" if found else "site_zero"
    return words(key, times=words.count("n_times", visits), n=found, count=count.label)


def _densities(desk: Desk) -> list[str]:
    lines = []
    for plot in desk.outline.plots:
        every = _every_site(desk, plot.name)
        if desk.update.for_site not in every.index:
            continue
        value = desk.number(every.loc[desk.update.for_site])
        line = desk.words(
            "site_density",
            plot=plot.label,
            value=value,
            count=desk.outline.count.label,
            per=desk.per,
        )
        if len(every) >= _LEAST_FOR_HALF:
            low, high = (desk.number(float(every.quantile(part))) for part in (0.25, 0.75))
            if low != high:
                line += " " + desk.words("site_half", low=low, high=high)
        lines.append(line)
    return lines


def _every_site(desk: Desk, plot: str) -> pd.Series:
    """The density of ``plot`` at each site, in a compared plot the one of the comparison's picture:
    of visits with both plots.
    """
    outline = desk.outline
    if desk.comparison and plot in (outline.treated, outline.control):
        arm = "treated" if plot == outline.treated else "control"
        return desk.comparison.sites.set_index("site")[f"density_{arm}"]
    mine = (desk.counts["count"] == outline.count.name) & (desk.counts["plot"] == plot)
    good = usable(desk.counts[mine], outline.effort is not None)
    sums = good.groupby("site")[["value", "effort"]].sum()
    return sums["value"] / sums["effort"]


def _table(desk: Desk, mine: pd.DataFrame) -> Table:
    """A line per date and plot, a column per count."""
    words, outline = desk.words, desk.outline
    counts = list({n.name: n.label for n in (outline.count, *outline.stages)}.items())
    cells = {(r["visit_date"], r["plot"], r["count"]): r for _, r in mine.iterrows()}
    rows = []
    for day in sorted(mine["visit_date"].unique()):
        for plot in outline.plots:
            values = [_value(desk, cells.get((day, plot.name, name))) for name, _ in counts]
            rows.append((words.day(day.date(), short=True), plot.label, *values))
    header = (words("col_date"), words("col_plot"), *(label for _, label in counts))
    return Table(words("table_site"), header, tuple(rows), texts=2)


def _value(desk: Desk, line: pd.Series | None) -> str:
    """The value, "waits", or the sign for none: never a 0 for what is not recorded."""
    if line is None:
        return desk.words("none")
    if line["status"] in WAITING:
        return desk.words("waits")
    if line["status"] not in RECORDED or pd.isna(line["value"]):
        return desk.words("none")
    return str(int(line["value"]))
