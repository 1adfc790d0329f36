"""What every picture is told in words and style, and the axis of weeks."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from sheet_reader.results.update.canvas import SMALL, STYLES, Style
from sheet_reader.results.update.model import Outline
from sheet_reader.results.update.words import Words


@dataclass(frozen=True, slots=True)
class Legend:
    """What a picture must be told in words: the density's name and the own site to show, if any."""

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

        def text(value: float, _place: int) -> str:
            return f"{value:.6f}".rstrip("0").rstrip(".").replace(".", point)

        return FuncFormatter(text)


def week_axis(axes: Axes, weeks: list[pd.Timestamp], legend: Legend) -> None:
    """Dates under the axis, as many as there is room for."""
    step = -(-len(weeks) // 7)
    shown = range(0, len(weeks), step)
    axes.set_xticks(list(shown), [legend.day(weeks[n]) for n in shown])
    axes.set_xlim(-0.5, len(weeks) - 0.5)
    axes.set_xlabel(legend.words("axis_week"), loc="left", fontsize=SMALL)
