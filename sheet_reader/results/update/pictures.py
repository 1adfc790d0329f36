"""The pictures of the two plots: paired dots and weekly means."""

from __future__ import annotations

import textwrap

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter, NullLocator

from sheet_reader.results.cells import plain_number
from sheet_reader.results.update.canvas import (
    GREY,
    INK,
    SMALL,
    Drawing,
    Style,
    drawing_style,
    finish,
    new_figure,
    quiet,
    spread,
)
from sheet_reader.results.update.sections import UpdateData

_KINDS = ((-1, "-", "pairs_down"), (1, "--", "pairs_up"), (0, ":", "pairs_even"))
"""Sign of the log ratio, line and word."""
_MANY = 60
"""Above so many sites their lines are drawn faintly."""
_DENSITIES = ["density_control", "density_treated"]


def week_axis(axes: Axes, weeks: list[pd.Timestamp], data: UpdateData) -> None:
    """Dates under the axis, as many as there is room for."""
    shown = range(0, len(weeks), -(-len(weeks) // 7))
    axes.set_xticks(list(shown), [data.day(weeks[n]) for n in shown])
    axes.set_xlim(-0.5, len(weeks) - 0.5)
    axes.set_xlabel(data.words("axis_week"), loc="left", fontsize=SMALL)


def _ticks(data: UpdateData) -> FuncFormatter:
    point = data.words("decimal_point")
    return FuncFormatter(lambda value, _: plain_number(value).replace(".", point))


def draw_pairs(
    sites: pd.DataFrame,
    ratio: float,
    typical: tuple[float, float] | None,
    data: UpdateData,
    alt: str,
) -> Drawing:
    """Paired dots on a logarithmic scale, one line a site with finds in both plots (see
    ``pairs.sum_sites``); one with finds in one plot has its dot there, and below each plot stands
    at how many sites none were found. The dots have the colours of their plots.

    ``ratio`` is the one at a typical site, ``typical`` its densities of treated and control plot,
    if they can be told.
    """
    outline, words = data.outline, data.words
    sites = sites[(sites[_DENSITIES] > 0).any(axis=1)]
    none = [int((sites[name] == 0).sum()) for name in _DENSITIES]
    sites = sites.assign(**{name: sites[name].where(sites[name] > 0) for name in _DENSITIES})
    own = sites["site"] == data.update.for_site
    with drawing_style():
        figure = new_figure(4.2)
        axes = figure.add_axes((0.13, 0.13, 0.58, 0.74))
        kinds = np.sign(sites["ratio"].round(12) - 1).to_numpy()
        left = -0.2
        for kind, line, key in _KINDS:
            for ends in sites.loc[(kinds == kind) & ~own, _DENSITIES].to_numpy(dtype=float):
                axes.plot(
                    [0, 1], ends, color=GREY, linestyle=line, linewidth=0.8, zorder=2,
                    alpha=1.0 if len(sites) <= _MANY else 0.3,
                )  # fmt: skip
            of_kind = int((kinds == kind).sum())
            if of_kind or kind:
                left = _key(axes, words(key, n=of_kind), line, left)
        styles = [data.style(name) for name in (outline.control, outline.treated)]
        for x, (name, style) in enumerate(zip(_DENSITIES, styles, strict=True)):
            _dots(axes, x, sites.loc[~own, name], style.marker, style)
            _dots(axes, x, sites.loc[own, name], "X", style)
        axes.plot([0, 1], sites.loc[own, _DENSITIES].T, color=INK, linewidth=1.8, zorder=8)
        middle = list(reversed(typical or ()))
        axes.plot(
            [0, 1][: len(middle)], middle, color=INK, marker="D", ms=7, lw=2.6, mec="white",
            zorder=11,
        )  # fmt: skip
        _end_labels(axes, sites, ratio, middle, data)
        axes.set_yscale("log")
        axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axes.yaxis.set_major_formatter(_ticks(data))
        axes.yaxis.set_minor_locator(NullLocator())
        axes.yaxis.set_minor_formatter(NullFormatter())
        axes.set_xlim(-0.15, 1.15)
        labels = [
            label
            + (f"\n{words('pairs_none', sites=data.sites(n))}" if n else "")
            + (f"\n× {words('your_site')}: 0" if sites.loc[own, name].isna().any() else "")
            for label, n, name in zip(
                (data.arms["control"], data.arms["treated"]), none, _DENSITIES, strict=True
            )
        ]
        axes.set_xticks([0, 1], labels)
        axes.tick_params(axis="x", labelsize=9)
        for tick, style in zip(axes.get_xticklabels(), styles, strict=True):
            tick.set_color(style.colour)
        title = words("axis_log", density=data.density)
        axes.set_title(title, loc="left", fontsize=SMALL + 0.5, x=-0.2, pad=26)
        quiet(axes)
        return finish(figure, "pairs", alt)


def _dots(axes: Axes, x: int, densities: pd.Series, marker: str, style: Style) -> None:
    axes.plot(
        np.full(len(densities), x), densities, linestyle="none", color=style.colour, marker=marker,
        markersize=7 if marker == "X" else 3.5, markerfacecolor=style.face, zorder=10,
    )  # fmt: skip


def _key(axes: Axes, text: str, line: str, left: float) -> float:
    """A short piece of line with its meaning above the picture; where the next may begin."""
    axes.plot(
        [left, left + 0.09], [1.07, 1.07], color=GREY, linestyle=line, linewidth=1.4,
        transform=axes.transAxes, clip_on=False,
    )  # fmt: skip
    axes.text(left + 0.11, 1.07, text, va="center", transform=axes.transAxes)
    return left + 0.2 + 0.027 * len(text)


def _end_labels(
    axes: Axes, sites: pd.DataFrame, ratio: float, middle: list[float], data: UpdateData
) -> None:
    """Name the typical and the own site at the right end of their lines."""
    words = data.words
    named = [(words("pairs_typical") + f"\n{words.change(ratio)}", end) for end in middle[1:]]
    mine = sites.loc[sites["site"] == data.update.for_site, "density_treated"].dropna()
    named += [(words("your_site") + f"\n{words.number(own)}", own) for own in mine]
    density = sites[_DENSITIES].stack()
    gap = 0.11 * max(0.1, float(np.log10(density.max() / density.min())))
    places = spread([float(np.log10(value)) for _, value in named], gap)
    for (text, value), place in zip(named, places, strict=True):
        axes.annotate(
            text, (1.02, value), (1.2, 10**place), va="center", fontweight="bold",
            arrowprops={"arrowstyle": "-", "lw": 0.5, "color": GREY}, annotation_clip=False,
        )  # fmt: skip


def draw_weeks(
    means: pd.DataFrame, data: UpdateData, alt: str, own: pd.DataFrame | None = None
) -> Drawing:
    """Weekly means with intervals per plot (see ``weeks.weekly_means``), labelled at their end.

    ``own`` are the means of one site alone, drawn as crosses in the colour of their plot.
    """
    with drawing_style():
        figure = new_figure(3.1)
        axes = figure.add_axes((0.1, 0.16, 0.66, 0.74))
        weeks = sorted(means["week"].unique())
        place = {week: number for number, week in enumerate(weeks)}
        plots = [p for p in data.outline.plots if p.name in set(means["plot"])]
        ends = []
        for number, plot in enumerate(plots):
            mine, style = means[means["plot"] == plot.name], data.style(plot.name)
            aside = 0.4 * ((number + 0.5) / len(plots) - 0.5)
            reach = np.nan_to_num([mine["mean"] - mine["lower"], mine["upper"] - mine["mean"]])
            axes.errorbar(
                mine["week"].map(place) + aside, mine["mean"], yerr=np.maximum(reach, 0),
                color=style.colour, linestyle=style.line, linewidth=1.5, elinewidth=1.0,
                marker=style.marker, markersize=5.5, markerfacecolor=style.face,
            )  # fmt: skip
            ends.append(float(mine["mean"].iloc[-1]))
            if own is not None:
                known = own[(own["plot"] == plot.name) & own["week"].isin(weeks)]
                axes.plot(
                    known["week"].map(place) + aside, known["mean"], linestyle="none", marker="x",
                    markersize=7, markeredgewidth=2, color=style.colour, zorder=8, clip_on=False,
                )  # fmt: skip
        drawn = [means["mean"], means["upper"], *([] if own is None else [own["mean"]])]
        top = float(pd.concat(drawn).max()) or 1.0
        axes.set_ylim(0, top * 1.08)
        for plot, y in zip(plots, spread(ends, top * 0.13), strict=True):
            axes.annotate(
                textwrap.fill(plot.label, 14), (len(weeks) - 0.8, y), (10, 0), va="center",
                textcoords="offset points", fontweight="bold", annotation_clip=False,
                color=data.style(plot.name).colour,
            )  # fmt: skip
        if own is not None and len(own):
            axes.text(len(weeks) - 0.65, top * 1.06, "× " + data.words("your_site"), va="top")
        week_axis(axes, weeks, data)
        title = data.words("axis_mean", density=data.density)
        axes.set_title(title, loc="left", fontsize=SMALL + 0.5, x=-0.1)
        axes.yaxis.set_major_formatter(_ticks(data))
        quiet(axes)
        return finish(figure, "weeks", alt)
