"""Put the update together: which section stands where, what came in, and one site's own numbers."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from sheet_reader.record.history.states import RECORDED
from sheet_reader.results.facts import WAITING
from sheet_reader.results.update.comparison import compare
from sheet_reader.results.update.findings import comparison_section, open_section
from sheet_reader.results.update.frame import arrival, checked, recorded, until, usable
from sheet_reader.results.update.outline import Outline, Update
from sheet_reader.results.update.sections import (
    Content,
    Section,
    TextTable,
    UpdateData,
    UpdateWords,
    parse_notes,
)
from sheet_reader.results.update.weeks import stages_section, totals, weeks_section

_LEAST_FOR_HALF = 4
"""With fewer sites there is no middle half."""


def make_content(
    counts: pd.DataFrame, outline: Outline, update: Update, words: Mapping[str, str] | None = None
) -> Content:
    """The update's sections in order, from a frame of counts (see ``frame``).

    ``words`` replaces texts by key (see :mod:`sheet_reader.study.words`). The same input
    gives the same content. Raises UsageError for a frame, outline or word that is not as described.
    """
    say = UpdateWords(words)
    known = until(checked(counts), pd.Timestamp(update.until))
    known = known[known["plot"].isin([plot.name for plot in outline.plots])]
    comparison = None
    if outline.compares and (known["count"] == outline.count.name).any():
        comparison = compare(known, outline, look=update.number)
    data = UpdateData(known, outline, update, say, comparison)
    sections = (
        arrivals_section(data),
        thanks_section(data),
        own_section(data),
        comparison_section(data),
        weeks_section(data),
        stages_section(data),
        open_section(data),
        advice_section(data),
        next_section(data),
    )
    return Content(
        language=say("language"), title=outline.title,
        page_title=say("page_title", title=outline.title, day=say.day(update.until)),
        lead=say("lead", number=update.number, day=say.day(update.until)), remark=say("lead_draft"),
        notes=parse_notes(update.notes), sections=tuple(section for section in sections if section),
        numbers_behind=say("numbers_behind"), footer=say("footer", title=outline.title),
        accessible_form=say("accessible_form"),
    )  # fmt: skip


def arrivals_section(data: UpdateData) -> Section:
    """What came in since the last update and in all, and what waits."""
    words, counts, new = data.words, data.counts, _new(data)
    if not len(counts):
        return Section("in", words("heading_in"), words("in_none"))

    def told(key: str, lines: pd.DataFrame, **more: str) -> str:
        visits = words.count("n_visits", len(lines.drop_duplicates(["site", "visit_date"])))
        return words(key, visits=visits, sites=data.sites(lines["site"].nunique()), **more)

    texts = []
    if data.update.since is not None:
        since = words.day(data.update.since)
        texts.append(told("in_new" if len(new) else "in_none_new", new, since=since))
    values = words.count("n_values", int(recorded(counts).sum()))
    texts.append(told("in_all", counts, values=values))
    waiting = int((counts["status"] == WAITING).sum())
    if waiting:
        values = words.count("n_values", waiting)
        texts.append(words.count("in_waiting", waiting, values=values))
    labels = {n.name: n.label for n in (*data.outline.stages, data.outline.count)}
    lines = [
        (
            labels[line["count"]], data.outline.plot_label(line["plot"]), str(line["recorded"]),
            str(line["total"]), data.number(line["mean"]),
        )
        for _, line in totals(counts, data.outline).iterrows()
    ]  # fmt: skip
    header = ("col_count", "col_plot", "col_recorded", "col_sum", "col_mean")
    table = data.table("table_totals", header, lines, texts=2)
    return Section("in", words("heading_in"), texts=tuple(texts), tables=(table,))


def _new(data: UpdateData) -> pd.DataFrame:
    """The lines that came in since the last update."""
    if data.update.since is None:
        return data.counts
    end = pd.Timestamp(data.update.since) + pd.Timedelta(days=1)
    return data.counts[arrival(data.counts) >= end]


def thanks_section(data: UpdateData) -> Section | None:
    """Thanks to the places with something new, and to the people who allowed it."""
    new, words = _new(data), data.words
    texts = []
    if len(new):
        places = sorted(set(new["site_name"].dropna()), key=str.casefold)
        texts.append(words("thanks_places", places=words.listed([str(p) for p in places])))
    if data.update.people:
        texts.append(words("thanks_people", people=words.listed(list(data.update.people))))
    return Section("thanks", words("heading_thanks"), texts=tuple(texts)) if texts else None


def advice_section(data: UpdateData) -> Section | None:
    """What would make photos easier to read."""
    if not data.update.advice:
        return None
    return Section("advice", data.words("heading_advice"), items=data.update.advice)


def next_section(data: UpdateData) -> Section | None:
    """The next dates."""
    if not data.update.next_dates:
        return None
    days = [data.words.day(day) for day in data.update.next_dates]
    text = data.words.count("next_dates", len(days), dates=data.words.listed(days))
    return Section("next", data.words("heading_next"), texts=(text,))


def own_section(data: UpdateData) -> Section | None:
    """The site's density per plot beside the middle half of all sites, and its counts by date."""
    site, words = data.update.for_site, data.words
    if not site:
        return None
    mine = data.counts[data.counts["site"] == site]
    if not len(mine):
        heading = words("heading_site", site=site)
        return Section("your-site", heading, words("site_none"))
    days = [words.day(day.date()) for day in sorted(mine["visit_date"].unique())]
    texts = [
        words.count("site_days", len(days), first=days[0], last=days[-1]),
        words.count("site_among", data.counts["site"].nunique()),
        *_densities(data),
    ]
    if data.found:
        texts.append(words("site_in_pictures"))
    return Section(
        "your-site",
        words("heading_site", site=str(mine["site_name"].iloc[0])),
        _looked(data, mine, len(days)),
        tuple(texts),
        tables=(_table(data, mine),),
    )


def _looked(data: UpdateData, mine: pd.DataFrame, visits: int) -> str:
    """How often they looked and what they counted: the section's main sentence."""
    words, count = data.words, data.outline.count
    values = usable(mine[mine["count"] == count.name], with_effort=False)["value"]
    found = int(values.sum())
    key = "site_looked" if not len(values) else "site_found" if found else "site_zero"
    return words(key, times=words.count("n_times", visits), n=found, count=count.label)


def _densities(data: UpdateData) -> list[str]:
    lines = []
    for plot in data.outline.plots:
        every = _every_site(data, plot.name)
        if data.update.for_site not in every.index:
            continue
        value = data.number(every.loc[data.update.for_site])
        count, per = data.outline.count.label, data.per
        line = data.words("site_density", plot=plot.label, value=value, count=count, per=per)
        if len(every) >= _LEAST_FOR_HALF:
            low, high = (data.number(float(every.quantile(part))) for part in (0.25, 0.75))
            if low != high:
                line += " " + data.words("site_half", low=low, high=high)
        lines.append(line)
    return lines


def _every_site(data: UpdateData, plot: str) -> pd.Series:
    """The density of ``plot`` at each site, in a compared plot the one of the comparison's picture:
    of visits with both plots.
    """
    outline = data.outline
    if data.comparison and plot in (outline.treated, outline.control):
        arm = "treated" if plot == outline.treated else "control"
        return data.comparison.sites.set_index("site")[f"density_{arm}"]
    mine = (data.counts["count"] == outline.count.name) & (data.counts["plot"] == plot)
    good = usable(data.counts[mine], outline.effort is not None)
    sums = good.groupby("site")[["value", "effort"]].sum()
    return sums["value"] / sums["effort"]


def _table(data: UpdateData, mine: pd.DataFrame) -> TextTable:
    """A line per date and plot, a column per count."""
    words, outline = data.words, data.outline
    counts = list({n.name: n.label for n in (outline.count, *outline.stages)}.items())
    cells = {(r["visit_date"], r["plot"], r["count"]): r for _, r in mine.iterrows()}
    rows = []
    for day in sorted(mine["visit_date"].unique()):
        for plot in outline.plots:
            values = [_value(data, cells.get((day, plot.name, name))) for name, _ in counts]
            rows.append((data.day(day), plot.label, *values))
    header = (words("col_date"), words("col_plot"), *(label for _, label in counts))
    return TextTable(words("table_site"), header, tuple(rows), texts=2)


def _value(data: UpdateData, line: pd.Series | None) -> str:
    """The value, "waits", or the sign for none: never a 0 for what is not recorded."""
    if line is not None and line["status"] == WAITING:
        return data.words("waits")
    if line is None or line["status"] not in RECORDED or pd.isna(line["value"]):
        return data.words("none")
    return str(int(line["value"]))
