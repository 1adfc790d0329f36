"""The pictures: paired dots, weekly means, stages over time, sites by weeks."""

from __future__ import annotations

import textwrap

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.patches import Rectangle
from matplotlib.ticker import LogLocator, NullFormatter, NullLocator

from sheet_reader.results.update import canvas
from sheet_reader.results.update.sections import UpdateData, UpdateWords

_KINDS = ((-1, "-", "pairs_down"), (1, "--", "pairs_up"), (0, ":", "pairs_even"))
"""Sign of the log ratio, line and word."""
_MANY = 60
"""Above so many sites their lines are drawn faintly."""
_DENSITIES = ["density_control", "density_treated"]
_DARK = 0.71
"""From this shade on, letters in a cell are white, below it black: 4.5:1 or more."""
ROWS_A_PANEL, ROWS_OF_MANY = 45, 27
"""Sites in one sites-by-weeks picture: they must fit on a printed page, and two pictures of many
sites below each other.
"""


def _week_axis(axes: Axes, weeks: list[pd.Timestamp], data: UpdateData, title: str) -> None:
    """Dates under the axis, as many as there is room for."""
    shown = range(0, len(weeks), -(-len(weeks) // 7))
    axes.set_xticks(list(shown), [data.day(weeks[n]) for n in shown])
    axes.set_xlim(-0.5, len(weeks) - 0.5)
    axes.set_xlabel(title, loc="left", fontsize=canvas.SMALL)


def draw_pairs(
    sites: pd.DataFrame,
    ratio: float,
    typical: tuple[float, float] | None,
    data: UpdateData,
    alt: str,
) -> canvas.Drawing:
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
    with canvas.drawing_style():
        figure = canvas.new_figure(4.2)
        axes = figure.add_axes((0.13, 0.13, 0.58, 0.74))
        _site_lines(axes, sites, own, words)
        styles = [data.style(name) for name in (outline.control, outline.treated)]
        for x, (name, style) in enumerate(zip(_DENSITIES, styles, strict=True)):
            for dots, marker, size in ((~own, style.marker, 3.5), (own, "X", 7)):
                densities = sites.loc[dots, name]
                axes.plot(
                    np.full(len(densities), x), densities, linestyle="none", color=style.colour,
                    marker=marker, markersize=size, markerfacecolor=style.face, zorder=10,
                )  # fmt: skip
        axes.plot([0, 1], sites.loc[own, _DENSITIES].T, color=canvas.INK, linewidth=1.8, zorder=8)
        middle = list(reversed(typical or ()))
        axes.plot(
            [0, 1][: len(middle)], middle, color=canvas.INK, marker="D", ms=7, lw=2.6, mec="white",
            zorder=11,
        )  # fmt: skip
        _end_labels(axes, sites, ratio, middle, data)
        axes.set_yscale("log")
        axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axes.yaxis.set_major_formatter(canvas.ticks(words("decimal_point")))
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
        axes.set_title(title, loc="left", fontsize=canvas.SMALL + 0.5, x=-0.2, pad=26)
        canvas.quiet(axes)
        return canvas.finish(figure, "pairs", alt)


def _site_lines(axes: Axes, sites: pd.DataFrame, own: pd.Series, words: UpdateWords) -> None:
    """A line for each site but the ``own``, by whether it has fewer, more or as many in the treated
    plot, and over the picture how many of each there are.
    """
    kinds = np.sign(sites["ratio"].round(12) - 1).to_numpy()
    left = -0.2
    for kind, line, key in _KINDS:
        for ends in sites.loc[(kinds == kind) & ~own, _DENSITIES].to_numpy(dtype=float):
            axes.plot(
                [0, 1], ends, color=canvas.GREY, linestyle=line, linewidth=0.8, zorder=2,
                alpha=1.0 if len(sites) <= _MANY else 0.3,
            )  # fmt: skip
        of_kind = int((kinds == kind).sum())
        if of_kind or kind:
            text = words(key, n=of_kind)
            axes.plot(
                [left, left + 0.09], [1.07, 1.07], color=canvas.GREY, linestyle=line,
                linewidth=1.4, transform=axes.transAxes, clip_on=False,
            )  # fmt: skip
            axes.text(left + 0.11, 1.07, text, va="center", transform=axes.transAxes)
            left += 0.2 + 0.027 * len(text)


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
    places = canvas.spread([float(np.log10(value)) for _, value in named], gap)
    for (text, value), place in zip(named, places, strict=True):
        axes.annotate(
            text, (1.02, value), (1.2, 10**place), va="center", fontweight="bold",
            arrowprops={"arrowstyle": "-", "lw": 0.5, "color": canvas.GREY}, annotation_clip=False,
        )  # fmt: skip


def draw_weeks(
    means: pd.DataFrame, data: UpdateData, alt: str, own: pd.DataFrame | None = None
) -> canvas.Drawing:
    """Weekly means with intervals per plot (see ``weeks.weekly_means``), labelled at their end.

    ``own`` are the means of one site alone, drawn as crosses in the colour of their plot.
    """
    with canvas.drawing_style():
        figure = canvas.new_figure(3.1)
        axes = figure.add_axes((0.1, 0.16, 0.66, 0.74))
        weeks = sorted(means["week"].unique())
        plots = [p for p in data.outline.plots if p.name in set(means["plot"])]
        ends = []
        for number, plot in enumerate(plots):
            mine, style = means[means["plot"] == plot.name], data.style(plot.name)
            aside = 0.4 * ((number + 0.5) / len(plots) - 0.5)
            reach = np.nan_to_num([mine["mean"] - mine["lower"], mine["upper"] - mine["mean"]])
            axes.errorbar(
                [weeks.index(week) + aside for week in mine["week"]], mine["mean"],
                yerr=np.maximum(reach, 0),
                color=style.colour, linestyle=style.line, linewidth=1.5, elinewidth=1.0,
                marker=style.marker, markersize=5.5, markerfacecolor=style.face,
            )  # fmt: skip
            ends.append(float(mine["mean"].iloc[-1]))
            if own is not None:
                known = own[(own["plot"] == plot.name) & own["week"].isin(weeks)]
                axes.plot(
                    [weeks.index(week) + aside for week in known["week"]], known["mean"],
                    color=style.colour, linestyle="none", marker="x", markersize=7,
                    markeredgewidth=2, zorder=8, clip_on=False,
                )  # fmt: skip
        drawn = [means["mean"], means["upper"], *([] if own is None else [own["mean"]])]
        top = float(pd.concat(drawn).max()) or 1.0
        axes.set_ylim(0, top * 1.08)
        for plot, y in zip(plots, canvas.spread(ends, top * 0.13), strict=True):
            axes.annotate(
                textwrap.fill(plot.label, 14), (len(weeks) - 0.8, y), (10, 0), va="center",
                textcoords="offset points", fontweight="bold", annotation_clip=False,
                color=data.style(plot.name).colour,
            )  # fmt: skip
        if own is not None and len(own):
            axes.text(len(weeks) - 0.65, top * 1.06, "× " + data.words("your_site"), va="top")
        _week_axis(axes, weeks, data, data.words("axis_week"))
        title = data.words("axis_mean", density=data.density)
        axes.set_title(title, loc="left", fontsize=canvas.SMALL + 0.5, x=-0.1)
        axes.yaxis.set_major_formatter(canvas.ticks(data.words("decimal_point")))
        canvas.quiet(axes)
        return canvas.finish(figure, "weeks", alt)


def draw_stages(shares: pd.DataFrame, data: UpdateData, alt: str) -> canvas.Drawing:
    """Stacked shares by week, a panel for each plot (see ``weeks.stage_shares``)."""
    with canvas.drawing_style():
        plots = sorted(shares["plot"].unique(), key=lambda p: p != data.outline.treated)
        figure = canvas.new_figure(0.45 + 1.7 * len(plots))
        height = figure.get_figheight()
        weeks = [pd.Timestamp(w) for w in sorted(shares["week"].unique())]
        for number, plot in enumerate(plots):
            bottom = 0.5 + 1.7 * (len(plots) - 1 - number)
            axes = figure.add_axes((0.1, bottom / height, 0.6, 1.25 / height))
            _stage_panel(axes, shares[shares["plot"] == plot], weeks, data)
            label = data.outline.plot_label(plot) if plot else data.words("all_plots")
            colour = data.style(plot).colour if plot else canvas.INK
            axes.set_title(label, loc="left", fontweight="bold", fontsize=8.5, pad=14, color=colour)
            last = number == len(plots) - 1
            _week_axis(axes, weeks, data, data.words("axis_week") if last else "")
            if not last:
                axes.set_xticklabels([])
        return canvas.finish(figure, "stages", alt)


def _stage_panel(
    axes: Axes, shares: pd.DataFrame, weeks: list[pd.Timestamp], data: UpdateData
) -> None:
    table = shares.pivot(index="week", columns="stage", values="share").reindex(weeks).fillna(0.0)
    bottom = np.zeros(len(weeks))
    middles = []
    stages = data.outline.stages
    for stage, colour in zip(stages, canvas.stage_colours(len(stages)), strict=True):
        share = table[stage.name].to_numpy(dtype=float)
        axes.bar(
            range(len(weeks)), share, 0.8, bottom, color=colour, edgecolor=canvas.INK, linewidth=0.5
        )
        middles.append(float(bottom[-1] + share[-1] / 2))
        bottom = bottom + share
    sums = shares.groupby("week")["counted"].sum().reindex(weeks).fillna(0)
    for n, counted in enumerate(sums):
        axes.text(n, 1.03, f"{counted:.0f}", ha="center", va="bottom", fontsize=canvas.SMALL - 0.5)
    for stage, middle, place in zip(stages, middles, canvas.spread(middles, 0.24), strict=True):
        axes.annotate(
            textwrap.fill(stage.label, 20), (len(weeks) - 0.6, middle), (len(weeks) - 0.25, place),
            va="center", fontsize=canvas.SMALL, linespacing=0.95, annotation_clip=False,
            arrowprops={"arrowstyle": "-", "lw": 0.5, "color": canvas.GREY},
        )  # fmt: skip
    axes.set_ylim(0, 1)
    axes.set_yticks([0, 0.5, 1], [data.words.percent(share) for share in (0, 0.5, 1)])
    axes.tick_params(length=0)


def draw_sites(
    cells: pd.DataFrame, weeks: list[pd.Timestamp], data: UpdateData, alt: str, name: str,
    top: float, *, numbers: bool,
) -> canvas.Drawing:  # fmt: skip
    """Sites by weeks (see ``weeks.site_weeks``): a shade in each cell, and with ``numbers`` its
    number, which the own site always gets.

    ``cells`` holds at most :data:`ROWS_A_PANEL` sites; ``top`` is the density of the darkest shade.
    """
    with canvas.drawing_style():
        names = cells.drop_duplicates("site").sort_values(["site_name", "site"])
        rows = list(names["site"])
        size, left = 0.165, 0.32
        height = 0.3 + size * len(rows)
        figure = canvas.new_figure(height)
        axes = figure.add_axes((left, 0.05 / height, 0.99 - left, size * len(rows) / height))
        places = {"x": map(weeks.index, cells["week"]), "y": map(rows.index, cells["site"])}
        placed = cells.assign(**{axis: list(place) for axis, place in places.items()})
        filled = placed[placed["density"].notna()]
        boxes = [
            Rectangle((x - 0.47, y - 0.45), 0.94, 0.9)
            for x, y in zip(filled["x"], filled["y"], strict=True)
        ]
        colours = canvas.SHADES(_shade(filled["density"], top).to_numpy(dtype=float))
        axes.add_collection(
            PatchCollection(boxes, facecolors=colours, edgecolors="#b3b3b3", linewidths=0.4)
        )
        written = placed if numbers else placed[placed["site"] == data.update.for_site]
        shades = _shade(written["density"], top)
        size_of_text = canvas.SMALL - (0.5 if len(weeks) <= 8 else 2)
        for (_, cell), shade in zip(written.iterrows(), shades, strict=True):
            density = cell["density"]
            text = "" if pd.isna(density) or len(weeks) > 14 else data.number(density)
            if pd.isna(density) and cell["waiting"]:
                text = "?"
            if text:
                axes.text(
                    cell["x"], cell["y"], text, ha="center", va="center", fontsize=size_of_text,
                    color="white" if shade > _DARK else "black",
                )  # fmt: skip
        labels = [textwrap.shorten(f"{n}", 28, placeholder="…") for n in names["site_name"]]
        _week_axis(axes, weeks, data, title="")
        axes.set_yticks(range(len(rows)), labels)
        for label, site in zip(axes.get_yticklabels(), rows, strict=True):
            if site == data.update.for_site:
                label.set_fontweight("bold")
        axes.xaxis.tick_top()
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.tick_params(length=0)
        axes.spines[:].set_visible(False)
        return canvas.finish(figure, name, alt)


def _shade(density: pd.Series, top: float) -> pd.Series:
    """0..1 by the square root, so that low densities differ too."""
    return np.sqrt(density / top) if top else density * 0.0
