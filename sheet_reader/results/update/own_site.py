"""One site's own numbers among all."""

from __future__ import annotations

import pandas as pd

from sheet_reader.results.update.blocks import Section, Table
from sheet_reader.results.update.desk import Desk
from sheet_reader.results.update.frame import RECORDED, WAITING, usable


def own_section(desk: Desk) -> Section | None:
    """The site's density per plot beside the middle half of all sites, and its counts by date."""
    site, words = desk.update.for_site, desk.words
    if not site:
        return None
    mine = desk.counts[desk.counts["site"] == site]
    if not len(mine):
        heading = words("heading_site", site=site)
        return Section("your-site", heading, words("site_none"))
    days = mine["visit_date"].drop_duplicates()
    texts = [
        words(
            "site_visits",
            visits=words.count("n_visits", len(days)),
            day=words.day(days.max().date()),
        ),
        *_densities(desk),
        words("site_in_pictures"),
    ]
    heading = words("heading_site", site=str(mine["site_name"].iloc[0]))
    return Section("your-site", heading, texts=tuple(texts), tables=(_table(desk, mine),))


def _densities(desk: Desk) -> list[str]:
    outline = desk.outline
    good = usable(
        desk.counts[desk.counts["count"] == outline.count.name], outline.effort is not None
    )
    sums = good.groupby(["plot", "site"])[["value", "effort"]].sum()
    density = sums["value"] / sums["effort"]
    lines = []
    for plot in outline.plots:
        if (plot.name, desk.update.for_site) not in density.index:
            continue
        every = density.loc[plot.name]
        lines.append(
            desk.words(
                "site_density",
                plot=plot.label,
                value=desk.number(every.loc[desk.update.for_site]),
                count=outline.count.label,
                per=desk.per,
                low=desk.number(every.quantile(0.25)),
                high=desk.number(every.quantile(0.75)),
            )
        )
    return lines


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
