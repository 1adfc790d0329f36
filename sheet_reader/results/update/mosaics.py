"""The pictures of shares and shades: stages over time, sites by weeks."""

from __future__ import annotations

import textwrap

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patches import Rectangle

from sheet_reader.results.update.canvas import (
    ALL_PLOTS,
    GREY,
    INK,
    SMALL,
    STAGES,
    Drawing,
    drawing_style,
    finish,
    new_figure,
    spread,
)
from sheet_reader.results.update.pictures import week_axis
from sheet_reader.results.update.sections import UpdateData

_SHADES = LinearSegmentedColormap.from_list("all plots", list(ALL_PLOTS))
_STAGES = LinearSegmentedColormap.from_list("stages", list(STAGES))
_DARK = 0.71
"""From this shade on, letters in a cell are white, below it black: 4.5:1 or more."""
ROWS_A_PANEL, ROWS_OF_MANY = 45, 27
"""Sites in one sites-by-weeks picture: they must fit on a printed page, and two pictures of many
sites below each other.
"""


def draw_stages(shares: pd.DataFrame, data: UpdateData, alt: str) -> Drawing:
    """Stacked shares by week, a panel for each plot (see ``weeks.stage_shares``)."""
    with drawing_style():
        plots = sorted(shares["plot"].unique(), key=lambda p: p != data.outline.treated)
        figure = new_figure(0.45 + 1.7 * len(plots))
        height = figure.get_figheight()
        weeks = [pd.Timestamp(w) for w in sorted(shares["week"].unique())]
        for number, plot in enumerate(plots):
            bottom = 0.5 + 1.7 * (len(plots) - 1 - number)
            axes = figure.add_axes((0.1, bottom / height, 0.6, 1.25 / height))
            _stage_panel(axes, shares[shares["plot"] == plot], weeks, data)
            label = data.outline.plot_label(plot) if plot else data.words("all_plots")
            colour = data.style(plot).colour if plot else INK
            axes.set_title(label, loc="left", fontweight="bold", fontsize=8.5, pad=14, color=colour)
            week_axis(axes, weeks, data)
            if number < len(plots) - 1:
                axes.set_xlabel("")
                axes.set_xticklabels([])
        return finish(figure, "stages", alt)


def stage_colours(number: int) -> list[tuple[float, float, float, float]]:
    """Shades from pale to dark, one for each stage."""
    return [_STAGES(0.12 + 0.88 * n / max(1, number - 1)) for n in range(number)]


def _stage_panel(
    axes: Axes, shares: pd.DataFrame, weeks: list[pd.Timestamp], data: UpdateData
) -> None:
    stages = data.outline.stages
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
    axes.set_yticks([0, 0.5, 1], [data.words.percent(share) for share in (0, 0.5, 1)])
    axes.tick_params(length=0)


def draw_sites(
    cells: pd.DataFrame, weeks: list[pd.Timestamp], data: UpdateData, alt: str, name: str,
    top: float, numbers: bool,
) -> Drawing:  # fmt: skip
    """Sites by weeks (see ``weeks.site_weeks``): a shade in each cell, and with ``numbers`` its
    number, which the own site always gets.

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
        columns = {week: number for number, week in enumerate(weeks)}
        placed = cells.assign(x=cells["week"].map(columns), y=cells["site"].map(rows))
        filled = placed[placed["density"].notna()]
        boxes = [
            Rectangle((x - 0.47, y - 0.45), 0.94, 0.9)
            for x, y in zip(filled["x"], filled["y"], strict=True)
        ]
        colours = _SHADES(_shade(filled["density"], top).to_numpy(dtype=float))
        axes.add_collection(
            PatchCollection(boxes, facecolors=colours, edgecolors="#b3b3b3", linewidths=0.4)
        )
        written = placed if numbers else placed[placed["site"] == data.update.for_site]
        _cell_texts(axes, written, data, top, len(weeks))
        labels = [textwrap.shorten(f"{n}", 28, placeholder="…") for n in names["site_name"]]
        week_axis(axes, weeks, data)
        axes.set_yticks(range(len(rows)), labels)
        for label, site in zip(axes.get_yticklabels(), rows, strict=True):
            if site == data.update.for_site:
                label.set_fontweight("bold")
        axes.xaxis.tick_top()
        axes.set_xlabel("")
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.tick_params(length=0)
        axes.spines[:].set_visible(False)
        return finish(figure, name, alt)


def _shade(density: pd.Series, top: float) -> pd.Series:
    """0..1 by the square root, so that low densities differ too."""
    return np.sqrt(density / top) if top else density * 0.0


def _cell_texts(axes: Axes, cells: pd.DataFrame, data: UpdateData, top: float, weeks: int) -> None:
    """Numbers where there is room for them, and question marks."""
    size = SMALL - (0.5 if weeks <= 8 else 2)
    shades = _shade(cells["density"], top)
    for x, y, density, waiting, shade in zip(
        cells["x"], cells["y"], cells["density"], cells["waiting"], shades, strict=True
    ):
        text = "" if pd.isna(density) or weeks > 14 else data.words.number(float(density))
        if pd.isna(density) and waiting:
            text = "?"
        if text:
            colour = "white" if shade > _DARK else "black"
            axes.text(x, y, text, ha="center", va="center", color=colour, fontsize=size)
