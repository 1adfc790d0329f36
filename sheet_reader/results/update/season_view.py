"""The season week by week: means, sites by weeks, stages, each with picture and table."""

from __future__ import annotations

import pandas as pd

from sheet_reader.results.update.blocks import Picture, Section, Table
from sheet_reader.results.update.desk import Desk
from sheet_reader.results.update.mosaics import ROWS_A_PANEL, ROWS_OF_MANY, draw_sites, draw_stages
from sheet_reader.results.update.pictures import draw_weeks
from sheet_reader.results.update.weekly import site_weeks, stage_shares, weekly_means


def weeks_section(desk: Desk) -> Section | None:
    """Weekly means and the sites-by-weeks pictures."""
    means = weekly_means(desk.counts, desk.outline, desk.outline.count.name)
    if not len(means):
        return None
    words = desk.words
    if not desk.found:
        sites = desk.sites(desk.counts["site"].nunique())
        text = words("weeks_none", count=desk.outline.count.label, sites=sites)
        return Section("weeks", words("heading_weeks"), texts=(text,))
    pictures = (_means(desk, means), *_grids(desk))
    return Section("weeks", words("heading_weeks"), pictures=pictures)


def _day(desk: Desk, week: pd.Timestamp) -> str:
    return desk.words.day(week.date(), short=True)


def _means(desk: Desk, means: pd.DataFrame) -> Picture:
    words, outline = desk.words, desk.outline
    own = None
    if desk.update.for_site:
        mine = desk.counts[desk.counts["site"] == desk.update.for_site]
        own = weekly_means(mine, outline, outline.count.name)
    weeks = []
    for week, lines in means.groupby("week"):
        said = ", ".join(
            f"{outline.plot_label(line['plot'])} {desk.number(line['mean'])}"
            for _, line in lines.iterrows()
        )
        weeks.append(words("alt_week", day=_day(desk, pd.Timestamp(str(week))), means=said))
    alt = words("alt_weeks", density=desk.density, weeks="; ".join(weeks))
    header = ("col_week", "col_plot", "col_sites", "col_site_mean", "col_lower", "col_upper")
    table = Table(
        words("table_weeks"),
        tuple(words(key, per=desk.per) for key in header),
        tuple(
            (
                _day(desk, line["week"]),
                outline.plot_label(line["plot"]),
                str(line["sites"]),
                *(desk.number(line[key]) for key in ("mean", "lower", "upper")),
            )
            for _, line in means.iterrows()
        ),
        texts=2,
    )
    drawing = draw_weeks(means, desk.legend, alt, own)
    return Picture("weeks", drawing, words("picture_weeks"), alt, table)


def _grids(desk: Desk) -> list[Picture]:
    """As many pictures as the sites need; more than one go without numbers in their cells."""
    cells = site_weeks(desk.counts, desk.outline, desk.outline.count.name)
    weeks = sorted(cells["week"].unique())
    names = cells.drop_duplicates("site").sort_values(["site_name", "site"])["site"].to_list()
    top = float(cells["density"].max()) if cells["density"].notna().any() else 1.0
    pictures = []
    numbers = len(names) <= ROWS_A_PANEL
    rows = ROWS_A_PANEL if numbers else ROWS_OF_MANY
    for number, start in enumerate(range(0, len(names), rows), 1):
        sites = names[start : start + rows]
        part = cells[cells["site"].isin(sites)]
        known = part["density"].dropna()
        alt = desk.words(
            "alt_grid",
            sites=desk.sites(len(sites)),
            weeks=desk.words.count("n_weeks", len(weeks)),
            filled=len(known),
            cells=len(sites) * len(weeks),
            low=desk.number(known.min()),
            high=desk.number(known.max()),
            waiting=int((part["density"].isna() & (part["waiting"] > 0)).sum()),
        )
        name = f"sites-{number}"
        drawing = draw_sites(part, weeks, desk.legend, alt, name, top, numbers)
        key = "picture_grid" if numbers else "picture_grid_shades"
        caption = desk.words(key, density=desk.density)
        pictures.append(Picture(name, drawing, caption, alt, _grid_table(desk, part, weeks)))
    return pictures


def _grid_table(desk: Desk, cells: pd.DataFrame, weeks: list[pd.Timestamp]) -> Table:
    words = desk.words
    rows = []
    for _, lines in cells.sort_values(["site_name", "site"]).groupby("site", sort=False):
        by_week = {line["week"]: line for _, line in lines.iterrows()}
        row = [str(lines["site_name"].iloc[0])]
        for week in weeks:
            cell = by_week.get(week)
            if cell is None or (pd.isna(cell["density"]) and not cell["waiting"]):
                row.append(words("none"))
            elif pd.isna(cell["density"]):
                row.append(words("waits"))
            else:
                row.append(desk.number(cell["density"]))
        rows.append(tuple(row))
    header = (words("col_site"), *(_day(desk, pd.Timestamp(week)) for week in weeks))
    return Table(words("table_grid"), header, tuple(rows))


def stages_section(desk: Desk) -> Section | None:
    """The composition of the stages by week."""
    if len(desk.outline.stages) < 2:
        return None
    shares = stage_shares(desk.counts, desk.outline)
    if not len(shares):
        return None
    words, outline = desk.words, desk.outline
    if not shares["counted"].any():
        return Section("stages", words("heading_stages"), texts=(words("stages_none"),))
    labels = {stage.name: stage.label for stage in outline.stages}
    panels = []
    for (plot, week), lines in shares.groupby(["plot", "week"]):
        said = ", ".join(
            f"{labels[line['stage']]} {_share(desk, line['share'])}" for _, line in lines.iterrows()
        )
        day = _day(desk, pd.Timestamp(str(week)))
        panels.append(words("alt_week", day=f"{_plot(desk, str(plot))}, {day}", means=said))
    alt = words("alt_stages", panels="; ".join(panels))
    header = ("col_plot", "col_week", "col_stage", "col_counted", "col_share")
    table = Table(
        words("table_stages"),
        tuple(words(key) for key in header),
        tuple(
            (
                _plot(desk, line["plot"]),
                _day(desk, line["week"]),
                labels[line["stage"]],
                f"{line['counted']:.0f}",
                _share(desk, line["share"]),
            )
            for _, line in shares.iterrows()
        ),
        texts=3,
    )
    drawing = draw_stages(shares, desk.legend, alt)
    picture = Picture("stages", drawing, words("picture_stages"), alt, table)
    return Section("stages", words("heading_stages"), pictures=(picture,))


def _plot(desk: Desk, name: str) -> str:
    return desk.outline.plot_label(name) if name else desk.words("all_plots")


def _share(desk: Desk, share: float) -> str:
    return desk.words("none") if pd.isna(share) else desk.words.percent(share)
