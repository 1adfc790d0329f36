"""The pictures of the two plots: paired dots and weekly means."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import LogLocator, NullFormatter, NullLocator

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
from sheet_reader.results.update.legend import Legend, week_axis


def draw_pairs(
    sites: pd.DataFrame, ratio: float, typical: tuple[float, float] | None, legend: Legend, alt: str
) -> Drawing:
    """Paired dots on a logarithmic scale, one line a site with finds in both plots (see
    ``pairs.sum_sites``); one with finds in one plot has its dot there, and below each plot stands
    at how many sites none were found. The dots have the colours of their plots.

    ``ratio`` is the one at a typical site, ``typical`` its densities of treated and control plot,
    if they can be told.
    """
    outline, words = legend.outline, legend.words
    columns = ["density_control", "density_treated"]
    sites = sites[(sites[columns] > 0).any(axis=1)]
    none = [int((sites[name] == 0).sum()) for name in columns]
    sites = sites.assign(**{name: sites[name].where(sites[name] > 0) for name in columns})
    own = sites["site"] == legend.own
    with drawing_style():
        figure = new_figure(4.2)
        axes = figure.add_axes((0.13, 0.13, 0.58, 0.74))
        kinds = np.sign(sites["ratio"].round(12) - 1).to_numpy()
        left = -0.2
        for kind, line, key in _KINDS:
            of_kind = sites[kinds == kind]
            _lines(
                axes,
                of_kind[of_kind["site"] != legend.own],
                line,
                1.0 if len(sites) <= _MANY else 0.3,
            )
            if len(of_kind) or kind:
                left = _key(axes, words(key, n=len(of_kind)), line, left)
        ends = [legend.style(name) for name in (outline.control, outline.treated)]
        for x, (name, style) in enumerate(zip(columns, ends, strict=True)):
            _dots(axes, x, sites.loc[~own, name], style.marker, style)
            _dots(axes, x, sites.loc[own, name], "X", style)
        axes.plot([0, 1], sites.loc[own, columns].T, color=INK, linewidth=1.8, zorder=8)
        middle = list(reversed(typical or ()))
        axes.plot(
            [0, 1][: len(middle)], middle, color=INK, marker="D", ms=7, lw=2.6, mec="white",
            zorder=11,
        )  # fmt: skip
        _end_labels(axes, sites, ratio, middle, legend)
        _logarithmic(axes, legend)
        axes.set_xlim(-0.15, 1.15)
        labels = [
            outline.plot_label(plot)
            + (f"\n{words('pairs_none', sites=words.count('n_sites', n))}" if n else "")
            + (f"\n× {words('your_site')}: 0" if sites.loc[own, name].isna().any() else "")
            for plot, n, name in zip((outline.control, outline.treated), none, columns, strict=True)
        ]
        axes.set_xticks([0, 1], labels)
        axes.tick_params(axis="x", labelsize=9)
        for label, style in zip(axes.get_xticklabels(), ends, strict=True):
            label.set_color(style.colour)
        title = words("axis_log", density=legend.density)
        axes.set_title(title, loc="left", fontsize=SMALL + 0.5, x=-0.2, pad=26)
        quiet(axes)
        return finish(figure, "pairs", alt)


_KINDS = ((-1, "-", "pairs_down"), (1, "--", "pairs_up"), (0, ":", "pairs_even"))
"""Sign of the log ratio, line and word."""
_MANY = 60
"""Above so many sites their lines are drawn faintly."""


def _logarithmic(axes: Axes, legend: Legend) -> None:
    axes.set_yscale("log")
    axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.yaxis.set_major_formatter(legend.tick)
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_minor_formatter(NullFormatter())


def _lines(axes: Axes, sites: pd.DataFrame, line: str, alpha: float) -> None:
    for ends in sites[["density_control", "density_treated"]].to_numpy(dtype=float):
        axes.plot([0, 1], ends, color=GREY, linestyle=line, linewidth=0.8, alpha=alpha, zorder=2)


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
    axes: Axes, sites: pd.DataFrame, ratio: float, middle: list[float], legend: Legend
) -> None:
    """Name the typical and the own site at the right end of their lines."""
    words = legend.words
    named = [(words("pairs_typical") + f"\n{words.change(ratio)}", end) for end in middle[1:]]
    mine = sites.loc[sites["site"] == legend.own, "density_treated"].dropna()
    named += [(words("your_site") + f"\n{words.number(own)}", own) for own in mine]
    density = sites[["density_control", "density_treated"]].stack()
    gap = 0.11 * max(0.1, float(np.log10(density.max() / density.min())))
    places = spread([float(np.log10(value)) for _, value in named], gap)
    for (text, value), place in zip(named, places, strict=True):
        axes.annotate(
            text, (1.02, value), (1.2, 10**place), va="center", fontweight="bold",
            arrowprops={"arrowstyle": "-", "lw": 0.5, "color": GREY}, annotation_clip=False,
        )  # fmt: skip


def draw_weeks(
    means: pd.DataFrame, legend: Legend, alt: str, own: pd.DataFrame | None = None
) -> Drawing:
    """Weekly means with intervals per plot (see ``weekly.weekly_means``), labelled at their end.

    ``own`` are the means of one site alone, drawn as crosses in the colour of their plot.
    """
    with drawing_style():
        figure = new_figure(3.1)
        axes = figure.add_axes((0.1, 0.16, 0.66, 0.74))
        weeks = sorted(means["week"].unique())
        place = {week: number for number, week in enumerate(weeks)}
        plots = [p.name for p in legend.outline.plots if p.name in set(means["plot"])]
        ends = []
        for number, plot in enumerate(plots):
            mine = means[means["plot"] == plot]
            aside = 0.4 * ((number + 0.5) / len(plots) - 0.5)
            _means(axes, mine["week"].map(place) + aside, mine, legend.style(plot))
            ends.append(float(mine["mean"].iloc[-1]))
            if own is not None:
                own_plot = own[own["plot"] == plot]
                _own_crosses(axes, own_plot, place, aside, legend.style(plot))
        drawn = [means["mean"], means["upper"], *([] if own is None else [own["mean"]])]
        top = float(pd.concat(drawn).max()) or 1.0
        axes.set_ylim(0, top * 1.08)
        for plot, y in zip(plots, spread(ends, top * 0.13), strict=True):
            axes.annotate(
                legend.plot(plot), (len(weeks) - 0.8, y), (10, 0), textcoords="offset points",
                va="center", fontweight="bold", color=legend.style(plot).colour,
                annotation_clip=False,
            )  # fmt: skip
        if own is not None and len(own):
            axes.text(len(weeks) - 0.65, top * 1.06, "× " + legend.words("your_site"), va="top")
        week_axis(axes, [pd.Timestamp(w) for w in weeks], legend)
        title = legend.words("axis_mean", density=legend.density)
        axes.set_title(title, loc="left", fontsize=SMALL + 0.5, x=-0.1)
        axes.yaxis.set_major_formatter(legend.tick)
        quiet(axes)
        return finish(figure, "weeks", alt)


def _means(axes: Axes, x: pd.Series, mine: pd.DataFrame, style: Style) -> None:
    reach = np.nan_to_num([mine["mean"] - mine["lower"], mine["upper"] - mine["mean"]])
    axes.errorbar(
        x,
        mine["mean"],
        yerr=np.maximum(reach, 0),
        color=style.colour,
        linestyle=style.line,
        linewidth=1.5,
        elinewidth=1.0,
        marker=style.marker,
        markersize=5.5,
        markerfacecolor=style.face,
    )


def _own_crosses(
    axes: Axes, own: pd.DataFrame, place: dict[pd.Timestamp, int], aside: float, style: Style
) -> None:
    known = own[own["week"].isin(list(place))]
    axes.plot(
        known["week"].map(place) + aside, known["mean"], linestyle="none", marker="x", markersize=7,
        markeredgewidth=2, color=style.colour, zorder=8, clip_on=False,
    )  # fmt: skip
