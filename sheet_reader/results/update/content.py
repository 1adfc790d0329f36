"""Put the update together: which section stands where, and what came in."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from sheet_reader.record.history.states import RECORDED
from sheet_reader.results.update.blocks import Content, Section, Table, parse_notes
from sheet_reader.results.update.comparison import compare
from sheet_reader.results.update.desk import Desk
from sheet_reader.results.update.findings import comparison_section, open_section
from sheet_reader.results.update.frame import WAITING, arrival, checked, until
from sheet_reader.results.update.model import Outline, Update
from sheet_reader.results.update.own_site import own_section
from sheet_reader.results.update.season_view import stages_section, weeks_section
from sheet_reader.results.update.weekly import totals
from sheet_reader.results.update.words import Words


def make_content(
    counts: pd.DataFrame,
    outline: Outline,
    update: Update,
    words: Mapping[str, str] | None = None,
) -> Content:
    """The update's sections in order, from a frame of counts (see ``frame``).

    ``words`` replaces texts by key (see ``words.ENGLISH``). The same input gives the same content.
    Raises UsageError for a frame, outline or word that is not as described.
    """
    say = Words(words)
    known = until(checked(counts), pd.Timestamp(update.until))
    plots = {plot.name for plot in outline.plots}
    known = known[known["plot"].isin(plots)]
    comparison = None
    if outline.compares and (known["count"] == outline.count.name).any():
        comparison = compare(known, outline, look=update.number)
    desk = Desk(known, outline, update, say, comparison)
    sections = (
        arrivals_section(desk),
        thanks_section(desk),
        own_section(desk),
        comparison_section(desk),
        weeks_section(desk),
        stages_section(desk),
        open_section(desk),
        advice_section(desk),
        next_section(desk),
    )
    return Content(
        language=say("language"),
        title=outline.title,
        page_title=say("page_title", title=outline.title, day=say.day(update.until)),
        lead=say("lead", number=update.number, day=say.day(update.until)),
        remark=say("lead_draft"),
        notes=parse_notes(update.notes),
        sections=tuple(section for section in sections if section),
        numbers_behind=say("numbers_behind"),
        footer=say("footer", title=outline.title),
        accessible_form=say("accessible_form"),
    )


def _new(desk: Desk) -> pd.DataFrame:
    """The lines that came in since the last update."""
    if desk.update.since is None:
        return desk.counts
    end = pd.Timestamp(desk.update.since) + pd.Timedelta(days=1)
    return desk.counts[arrival(desk.counts) >= end]


def _visits(counts: pd.DataFrame) -> int:
    return len(counts.drop_duplicates(["site", "visit_date"]))


def arrivals_section(desk: Desk) -> Section:
    """What came in since the last update and in all, and what waits."""
    words, counts, new = desk.words, desk.counts, _new(desk)
    if not len(counts):
        return Section("in", words("heading_in"), words("in_none"))
    recorded = int((counts["status"].isin(RECORDED) & counts["value"].notna()).sum())
    waiting = int(counts["status"].isin(WAITING).sum())
    texts = []
    if desk.update.since is not None:
        texts.append(
            words(
                "in_new" if len(new) else "in_none_new",
                since=words.day(desk.update.since),
                visits=words.count("n_visits", _visits(new)),
                sites=desk.sites(new["site"].nunique()),
            )
        )
    texts.append(
        words(
            "in_all",
            visits=words.count("n_visits", _visits(counts)),
            sites=desk.sites(counts["site"].nunique()),
            values=words.count("n_values", recorded),
        )
    )
    if waiting:
        values = words.count("n_values", waiting)
        texts.append(words.count("in_waiting", waiting, values=values))
    return Section("in", words("heading_in"), texts=tuple(texts), tables=(_totals(desk),))


def _totals(desk: Desk) -> Table:
    words, outline = desk.words, desk.outline
    labels = {n.name: n.label for n in (*outline.stages, outline.count)}
    header = ("col_count", "col_plot", "col_recorded", "col_sum", "col_mean")
    return Table(
        words("table_totals"),
        tuple(words(key, per=desk.per) for key in header),
        tuple(
            (
                labels[line["count"]],
                outline.plot_label(line["plot"]),
                str(line["recorded"]),
                str(line["total"]),
                desk.number(line["mean"]),
            )
            for _, line in totals(desk.counts, outline).iterrows()
        ),
        texts=2,
    )


def thanks_section(desk: Desk) -> Section | None:
    """Thanks to the places with something new, and to the people who allowed it."""
    new, words = _new(desk), desk.words
    texts = []
    if len(new):
        places = sorted(set(new["site_name"].dropna()), key=str.casefold)
        texts.append(words("thanks_places", places=words.listed([str(p) for p in places])))
    if desk.update.people:
        texts.append(words("thanks_people", people=words.listed(list(desk.update.people))))
    return Section("thanks", words("heading_thanks"), texts=tuple(texts)) if texts else None


def advice_section(desk: Desk) -> Section | None:
    """What would make photos easier to read."""
    if not desk.update.advice:
        return None
    return Section("advice", desk.words("heading_advice"), items=desk.update.advice)


def next_section(desk: Desk) -> Section | None:
    """The next dates."""
    if not desk.update.next_dates:
        return None
    days = [desk.words.day(day) for day in desk.update.next_dates]
    text = desk.words.count("next_dates", len(days), dates=desk.words.listed(days))
    return Section("next", desk.words("heading_next"), texts=(text,))
