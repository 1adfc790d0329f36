"""The status as a picture, SVG or PNG: a square for each site and expected visit.

Each state has a colour and a sign of its own, so that neither colour-blind eyes nor a grey print
lose it. Colours after Okabe and Ito, "Color universal design" (2008; from memory).
"""

from __future__ import annotations

import io

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from sheet_reader.results.status.standing import State, Status

LOOKS: dict[State, tuple[str, str, str]] = {
    "in": ("#CFE8DC", "o", "#00654A"),
    "waits": ("#FBE6B0", "$?$", "#7A5200"),
    "incomplete": ("#CBE3F5", "$/$", "#00497A"),
    "unclear": ("#EADCF0", r"$\sim$", "#5B2A70"),
    "missed": ("#F3C9B5", "_", "#8C2F00"),
    "not due": ("#F4F4F4", ".", "#9A9A9A"),
}
"""Colour of the square, sign and its colour."""
CELL = 0.24
"""Side of a square in inches."""
DPI = 120


def status_picture(status: Status, kind: str) -> bytes:
    """The picture; ``kind`` is "svg" or "png". The same status gives the same bytes."""
    columns, rows = max(1, len(status.days)), max(1, len(status.sites))
    left, right, top, bottom = 2.6, 1.0, 0.75, 0.55
    width, height = left + right + columns * CELL, top + bottom + rows * CELL
    with rc_context({"svg.hashsalt": "status", "svg.fonttype": "none", "font.size": 8.0}):
        figure = Figure(figsize=(max(width, 6.4), height), dpi=DPI)
        across, up = figure.get_size_inches()
        place = (left / across, bottom / up, columns * CELL / across, rows * CELL / up)
        axes = figure.add_axes(place)
        _draw(axes, status)
        title = f"{status.title}: visits by {status.today:%Y-%m-%d}"
        figure.text(0.1 / across, 1 - 0.22 / up, title, fontsize=11, weight="bold")
        _legend(figure, status, up)
        stream = io.BytesIO()
        metadata = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(stream, format=kind, metadata=metadata)
    return stream.getvalue()


def _draw(axes: Axes, status: Status) -> None:
    rows, columns = len(status.sites), len(status.days)
    axes.set_xlim(-0.5, columns - 0.5)
    axes.set_ylim(rows - 0.5, -0.5)
    for state, (colour, sign, ink) in LOOKS.items():
        places = [
            (x, y)
            for y, site in enumerate(status.sites)
            for x, expected in enumerate(site.expected)
            if expected.state == state
        ]
        if places:
            xs, ys = zip(*places, strict=True)
            side = (CELL * 72 * 0.92) ** 2
            axes.scatter(xs, ys, s=side, marker="s", color=colour, linewidths=0)
            axes.scatter(xs, ys, s=side * 0.22, marker=sign, color=ink, linewidths=1)
    axes.set_yticks(range(rows), [f"{s.label[:28]}  {s.site}" for s in status.sites])
    axes.xaxis.tick_top()
    starts = [
        x for x, day in enumerate(status.days)
        if x == 0 or day.month != status.days[x - 1].month
    ]  # fmt: skip
    axes.set_xticks(starts, [f"{status.days[x].day} {status.days[x]:%b}" for x in starts])
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
    for y, site in enumerate(status.sites):
        axes.text(columns - 0.3, y, f"{site.came}", va="center", ha="left",
                  weight="bold" if site.too_few else "normal")  # fmt: skip
        if site.too_few:
            axes.text(columns + 0.8, y, "too few", va="center", ha="left", fontsize=7)
    if 0 <= (status.today - status.days[0]).days <= (status.days[-1] - status.days[0]).days:
        step = (status.days[1] - status.days[0]).days if columns > 1 else 1
        axes.axvline((status.today - status.days[0]).days / step, color="#444444", linewidth=0.8)
    axes.text(columns - 0.3, rows - 0.35, "visits", va="top", ha="left", fontsize=7)


def _legend(figure: Figure, status: Status, up: float) -> None:
    handles = [
        Line2D([], [], linestyle="", marker=sign, color=ink, markeredgewidth=1, markersize=6,
               label=f"{state} ({status.count(state)})")
        for state, (_, sign, ink) in LOOKS.items()
    ]  # fmt: skip
    figure.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(0.01, 0.08 / up), ncols=len(handles),
        frameon=False, fontsize=7.5, handletextpad=0.3, columnspacing=1.2, borderpad=0,
    )  # fmt: skip
