"""The pictures of the update: paired dots, weekly means, stages, sites by weeks."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter, NullLocator

from sheet_reader.results.update.canvas import (
    GREY,
    INK,
    SMALL,
    STYLES,
    Drawing,
    Style,
    drawing_style,
    finish,
    new_figure,
    quiet,
    spread,
)
from sheet_reader.results.update.model import Outline
from sheet_reader.results.update.words import Words

_BLUES = LinearSegmentedColormap.from_list("pale to dark", ["#eef4f8", "#7fabc8", "#0b3c5d"])
_DARK = 0.71
"""From this shade on, letters in a cell are white, below it black: 4.5:1 or more."""
ROWS_A_PANEL = 45
"""Sites in one sites-by-weeks picture: it must fit on a printed page."""


@dataclass(frozen=True, slots=True)
class Legend:
    """What a picture must be told in words: the density's name and the site to show in black."""

    words: Words
    outline: Outline
    density: str
    own: str = ""

    def style(self, plot: str) -> Style:
        """The style of a plot: treated first, control second, then in printing order."""
        order = list(
            dict.fromkeys(
                [self.outline.treated, self.outline.control, *(p.name for p in self.outline.plots)]
            )
        )
        names = [name for name in order if name]
        return STYLES[names.index(plot) % len(STYLES)] if plot in names else STYLES[0]

    def plot(self, name: str, width: int = 14) -> str:
        """A plot's label in lines of at most ``width`` letters."""
        return textwrap.fill(self.outline.plot_label(name), width)

    def day(self, day: pd.Timestamp) -> str:
        """A short date."""
        return self.words.day(day.date(), short=True)

    @property
    def tick(self) -> FuncFormatter:
        """Numbers at an axis."""
        point = self.words("decimal_point")
        return FuncFormatter(lambda value, _: f"{value:.6f}".rstrip("0").rstrip(".").replace(".", point))


def draw_pairs(sites: pd.DataFrame, legend: Legend, alt: str) -> Drawing:
    """Paired dots on a logarithmic scale, one line a site (see ``pairs.sum_sites``)."""
    outline, words = legend.outline, legend.words
    with drawing_style():
        figure = new_figure(4.2)
        axes = figure.add_axes((0.13, 0.08, 0.58, 0.79))
        kinds = np.sign(sites["log_ratio"].round(12)).to_numpy()
        left = -0.2
        for kind, style, key in (
            (-1, STYLES[0], "pairs_down"),
            (1, STYLES[1], "pairs_up"),
            (0, Style(GREY, "o", ":"), "pairs_even"),
        ):
            of_kind = sites[kinds == kind]
            _lines(axes, of_kind[of_kind["site"] != legend.own], style, 0.8)
            if len(of_kind) or kind:
                left = _key(axes, words(key, n=len(of_kind)), style, left)
        _lines(axes, sites[sites["site"] == legend.own], Style(INK, "X", "-"), 1.8)
        middle = [float(np.exp(np.log(sites[f"density_{arm}"]).mean())) for arm in _ARMS]
        axes.plot([0, 1], middle, color=INK, marker="D", markersize=7, lw=2.6, mec="white", zorder=9)
        _end_labels(axes, sites, middle, legend)
        axes.set_yscale("log")
        axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axes.yaxis.set_major_formatter(legend.tick)
        axes.yaxis.set_minor_locator(NullLocator())
        axes.yaxis.set_minor_formatter(NullFormatter())
        axes.set_xlim(-0.15, 1.15)
        axes.set_xticks([0, 1], [outline.plot_label(p) for p in (outline.control, outline.treated)])
        axes.tick_params(axis="x", labelsize=9.5)
        axes.set_title(legend.density, loc="left", fontsize=SMALL + 0.5, x=-0.2, pad=26)
        quiet(axes)
        return finish(figure, "pairs", alt)


_ARMS = ("control", "treated")


def _lines(axes: Axes, sites: pd.DataFrame, style: Style, width: float) -> None:
    for _, site in sites.iterrows():
        axes.plot(
            [0, 1],
            [site["density_control"], site["density_treated"]],
            color=style.colour,
            linestyle=style.line,
            linewidth=width,
            marker=style.marker,
            markersize=3.5 if width < 1 else 6,
            markerfacecolor=style.face,
        )


def _key(axes: Axes, text: str, style: Style, left: float) -> float:
    """A short piece of line with its meaning above the picture; where the next may begin."""
    axes.plot(
        [left, left + 0.09], [1.07, 1.07], color=style.colour, linestyle=style.line, linewidth=1.4,
        transform=axes.transAxes, clip_on=False,
    )  # fmt: skip
    axes.text(left + 0.11, 1.07, text, color=style.colour, va="center", transform=axes.transAxes)
    return left + 0.2 + 0.027 * len(text)


def _end_labels(axes: Axes, sites: pd.DataFrame, middle: list[float], legend: Legend) -> None:
    """Name the mean and the own site at the right end of their lines."""
    words = legend.words
    named = [(words("pairs_typical") + f"\n{words.number(middle[1])}", middle[1])]
    for _, site in sites[sites["site"] == legend.own].iterrows():
        own = float(site["density_treated"])
        named.append((words("your_site") + f"\n{words.number(own)}", own))
    density = sites[["density_control", "density_treated"]].to_numpy(dtype=float)
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
            axes.text(
                len(weeks) - 0.65, y, legend.plot(plot), va="center", fontweight="bold",
                color=legend.style(plot).colour,
            )  # fmt: skip
        if own is not None and len(own):
            axes.text(len(weeks) - 0.65, top * 1.06, "× " + legend.words("your_site"), va="top")
        _week_axis(axes, [pd.Timestamp(w) for w in weeks], legend)
        axes.set_title(legend.density, loc="left", fontsize=SMALL + 0.5, x=-0.1)
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


def _week_axis(axes: Axes, weeks: list[pd.Timestamp], legend: Legend) -> None:
    """Dates under the axis, as many as there is room for."""
    step = -(-len(weeks) // 7)
    shown = range(0, len(weeks), step)
    axes.set_xticks(list(shown), [legend.day(weeks[n]) for n in shown])
    axes.set_xlim(-0.5, len(weeks) - 0.5)
    axes.set_xlabel(legend.words("axis_week"), loc="left", fontsize=SMALL)


def draw_stages(shares: pd.DataFrame, legend: Legend, alt: str) -> Drawing:
    """Stacked shares by week, a panel for each plot (see ``weekly.stage_shares``)."""
    with drawing_style():
        plots = sorted(shares["plot"].unique(), key=lambda p: p != legend.outline.treated)
        figure = new_figure(0.45 + 1.7 * len(plots))
        height = figure.get_figheight()
        weeks = [pd.Timestamp(w) for w in sorted(shares["week"].unique())]
        for number, plot in enumerate(plots):
            bottom = 0.5 + 1.7 * (len(plots) - 1 - number)
            axes = figure.add_axes((0.1, bottom / height, 0.6, 1.25 / height))
            _stage_panel(axes, shares[shares["plot"] == plot], weeks, legend)
            label = legend.outline.plot_label(plot) if plot else legend.words("all_plots")
            axes.set_title(label, loc="left", fontweight="bold", fontsize=8.5, pad=14)
            last = number == len(plots) - 1
            _week_axis(axes, weeks, legend)
            if not last:
                axes.set_xlabel("")
                axes.set_xticklabels([])
        return finish(figure, "stages", alt)


def stage_colours(number: int) -> list[tuple[float, float, float, float]]:
    """Shades from pale to dark, one for each stage."""
    return [_BLUES(0.12 + 0.88 * n / max(1, number - 1)) for n in range(number)]


def _stage_panel(
    axes: Axes, shares: pd.DataFrame, weeks: list[pd.Timestamp], legend: Legend
) -> None:
    stages = legend.outline.stages
    table = shares.pivot(index="week", columns="stage", values="share").reindex(weeks).fillna(0.0)
    sums = shares.groupby("week")["counted"].sum().reindex(weeks).fillna(0)
    bottom = np.zeros(len(weeks))
    middles = []
    for stage, colour in zip(stages, stage_colours(len(stages)), strict=True):
        share = table[stage.name].to_numpy(dtype=float)
        axes.bar(range(len(weeks)), share, 0.8, bottom, color=colour, edgecolor=INK, linewidth=0.5)
        middles.append(float(bottom[-1] + share[-1] / 2))
        bottom = bottom + share
    for n, counted in enumerate(sums):
        axes.text(n, 1.03, f"{counted:.0f}", ha="center", va="bottom", fontsize=SMALL - 0.5)
    for stage, middle, place in zip(stages, middles, spread(middles, 0.24), strict=True):
        axes.annotate(
            textwrap.fill(stage.label, 20), (len(weeks) - 0.6, middle), (len(weeks) - 0.25, place),
            va="center", fontsize=SMALL, linespacing=0.95, annotation_clip=False,
            arrowprops={"arrowstyle": "-", "lw": 0.5, "color": GREY},
        )  # fmt: skip
    axes.set_ylim(0, 1)
    axes.set_yticks([0, 0.5, 1], [legend.words.percent(share) for share in (0, 0.5, 1)])
    axes.tick_params(length=0)


def draw_sites(cells: pd.DataFrame, weeks: list[pd.Timestamp], legend: Legend, alt: str,
               name: str, top: float) -> Drawing:  # fmt: skip
    """Sites by weeks (see ``weekly.site_weeks``): a shade and the number in each cell.

    ``cells`` holds at most :data:`ROWS_A_PANEL` sites; ``top`` is the density of the darkest shade.
    """
    with drawing_style():
        names = cells.drop_duplicates("site").sort_values(["site_name", "site"])
        rows = {site: row for row, site in enumerate(names["site"])}
        size = 0.165
        height = 0.3 + size * len(rows)
        figure = new_figure(height)
        left = 0.32
        axes = figure.add_axes((left, 0.05 / height, 0.99 - left, size * len(rows) / height))
        place = {week: number for number, week in enumerate(weeks)}
        for cell in cells.itertuples():
            x, y = place[cell.week], rows[cell.site]
            _cell(axes, x, y, float(cell.density), bool(cell.waiting), legend, top, len(weeks))
        labels = [textwrap.shorten(f"{n}", 28, placeholder="…") for n in names["site_name"]]
        axes.set_yticks(range(len(rows)), labels)
        for label, site in zip(axes.get_yticklabels(), rows, strict=True):
            if site == legend.own:
                label.set_fontweight("bold")
        _week_axis(axes, weeks, legend)
        axes.xaxis.tick_top()
        axes.set_xlabel("")
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.tick_params(length=0)
        axes.spines[:].set_visible(False)
        return finish(figure, name, alt)


def _cell(
    axes: Axes, x: int, y: int, density: float, waiting: bool, legend: Legend, top: float,
    weeks: int,
) -> None:  # fmt: skip
    if np.isnan(density):
        if waiting:
            axes.text(x, y, "?", ha="center", va="center", fontsize=SMALL)
        return
    shade = float(np.sqrt(density / top)) if top else 0.0
    axes.add_artist(
        Rectangle((x - 0.47, y - 0.45), 0.94, 0.9, fc=_BLUES(shade), ec="#9fb4c2", lw=0.4)
    )
    if weeks <= 14:
        colour = "white" if shade > _DARK else "black"
        size = SMALL - (0.5 if weeks <= 8 else 2)
        text = legend.words.number(density)
        axes.text(x, y, text, ha="center", va="center", color=colour, fontsize=size)
