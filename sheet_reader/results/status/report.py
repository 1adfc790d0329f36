"""The status as lines for a terminal, as CSV, as JSON and as a picture.

In the picture each state has a colour and a sign of its own, so that neither colour-blind eyes nor
a grey print lose it. Colours after Okabe and Ito, "Color universal design" (2008; from memory).
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING

from sheet_reader.reasons import Code
from sheet_reader.results.cells import render_csv
from sheet_reader.results.status.standing import STATES, SiteStatus, State, Status
from sheet_reader.wording import in_general

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SIGNS: dict[State, str] = {
    "in": "o", "waits": "?", "incomplete": "/", "unclear": "~", "missed": "-", "not due": ".",
}  # fmt: skip
"""One sign for each state, the same in every terminal."""
MOST_REASONS = 8
MOST_NAMES = 4
LABEL = 22
CSV_HEADER = (
    "site", "site_name", "expected", "state", "visit_dates", "days_off", "why",
)  # fmt: skip
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


def status_lines(
    status: Status, style: Callable[[str, State], str] = lambda text, _: text
) -> Iterator[str]:
    """The status for a terminal; ``style`` colours a sign by its state."""
    width = max([len(site.site) for site in status.sites], default=4)
    indent = " " * (width + LABEL + 2)
    yield f"{status.title}, {status.today:%Y-%m-%d}: {len(status.sites)} sites by expected visits"
    yield ""
    yield indent + _months(status.days)
    for site in status.sites:
        signs = " ".join(style(SIGNS[e.state], e.state) for e in site.expected)
        label = site.label[: LABEL - 1] + "…" if len(site.label) > LABEL else site.label
        yield f"{site.site:<{width}} {label:<{LABEL}} {signs}  {_since(site)}"
    yield ""
    for state, meaning in STATES.items():
        yield f"{style(SIGNS[state], state)} {state} ({status.count(state)}): {meaning}"
    yield from _open(status)


def _months(days: Sequence[date]) -> str:
    """The months above the first expected visit of each, where there is room."""
    signs = [" "] * (2 * len(days) + 4)
    free = 0
    for place, day in enumerate(days):
        if 2 * place >= free and (place == 0 or day.month != days[place - 1].month):
            name = f"{day:%b}"
            signs[2 * place : 2 * place + len(name)] = name
            free = 2 * place + len(name) + 1
    return "".join(signs).rstrip()


def _since(site: SiteStatus) -> str:
    if site.last_visit is None:
        return "nothing yet"
    visits = "visit" if site.came == 1 else "visits"
    few = ", too few" if site.too_few else ""
    return f"{site.days_since} days since the last; {site.came} {visits}{few}"


def _open(status: Status) -> Iterator[str]:
    few = [site.site for site in status.sites if site.too_few]
    if few:
        yield ""
        yield f"Can't have {status.least} visits any more ({len(few)}): {', '.join(few)}"
    undated = sum(site.unsettled for site in status.sites)
    unplaced = ((status.unsettled, "site"), (undated, "date"))
    for title, lines in (
        ("Waiting for you, by reason:", list(_waiting(status))),
        ("Photos that gave nothing, or not all:", list(_fruitless(status))),
        ("Sheets that wait for their place:",
         [f"{sheets} whose {what} waits for review" for sheets, what in unplaced if sheets]),
        ("In the tables, but not among the expected visits:",
         [f"site {site} on {day}: outside the season, or not on the site list"
          for site, day in status.outside]),
    ):  # fmt: skip
        if lines:
            yield from ("", title, *(f"  {line}" for line in lines))
    if status.promise:
        yield from ("", status.promise)


def _waiting(status: Status) -> Iterator[str]:
    entries = list(status.waiting.items())
    yield from (f"{count:>5}  {in_general(Code(code))}" for code, count in entries[:MOST_REASONS])
    rest = sum(count for _, count in entries[MOST_REASONS:])
    if rest:
        yield f"{rest:>5}  for other reasons"


def _fruitless(status: Status) -> Iterator[str]:
    for reason, names in status.fruitless.items():
        more = len(names) - MOST_NAMES
        shown = ", ".join(names[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
        yield f"{shown}: {reason}"
    if status.unread:
        yield f"{status.unread} not read yet"


def status_csv(status: Status) -> bytes:
    """A line for each site and expected visit."""
    lines = (
        (
            site.site, site.label, e.day.isoformat(), e.state,
            " ".join(day.isoformat() for day in e.visits),
            "" if e.days_off is None else str(e.days_off), "; ".join(e.why),
        )
        for site in status.sites
        for e in site.expected
    )  # fmt: skip
    return render_csv(CSV_HEADER, lines)


def status_json(status: Status) -> bytes:
    """All of the status."""
    found = {
        "title": status.title,
        "today": status.today,
        "least_visits": status.least,
        "states": {state: status.count(state) for state in STATES},
        "waiting": [
            {"code": code, "words": in_general(Code(code)), "fields": fields}
            for code, fields in status.waiting.items()
        ],
        "photos_that_gave_nothing": status.fruitless,
        "photos_not_read_yet": status.unread,
        "sheets_without_site": status.unsettled,
        "outside": [{"site": site, "visit_date": day} for site, day in status.outside],
        "promise": status.promise,
        "sites": [_site(site) for site in status.sites],
    }
    return (json.dumps(found, ensure_ascii=False, indent=2, default=str) + "\n").encode()


def _site(site: SiteStatus) -> dict[str, object]:
    return {
        "site": site.site,
        "site_name": site.label,
        "last_visit": site.last_visit,
        "days_since": site.days_since,
        "visits": site.came,
        "too_few": site.too_few,
        "waiting": site.waiting,
        "sheets_without_date": site.unsettled,
        "expected": [asdict(expected) for expected in site.expected],
    }


def status_picture(status: Status, kind: str) -> bytes:
    """A square for each site and expected visit; ``kind`` is "svg" or "png". The same status gives
    the same bytes.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

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
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], linestyle="", marker=sign, color=ink, markeredgewidth=1, markersize=6,
               label=f"{state} ({status.count(state)})")
        for state, (_, sign, ink) in LOOKS.items()
    ]  # fmt: skip
    figure.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(0.01, 0.08 / up), ncols=len(handles),
        frameon=False, fontsize=7.5, handletextpad=0.3, columnspacing=1.2, borderpad=0,
    )  # fmt: skip
