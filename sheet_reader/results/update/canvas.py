"""Draw pictures by matplotlib and hand them out as SVG and PDF, the same bytes each time.

Text stays text: in the SVG as ``<text>`` (set in the page's typeface, found by a search, read by
a screen reader), in the PDF as embedded type. Colours differ in lightness, and each plot has a
sign and a line of its own, so that grey prints and colour-blind eyes lose nothing.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.font_manager import fontManager
from matplotlib.ticker import FuncFormatter

from sheet_reader.results.cells import plain_number
from sheet_reader.sheet.fonts import font_file

WIDTH = 5.0
"""Width of every picture in inches; a page shows it at up to twice this size."""
SMALL = 7.5
_FAMILIES = "Roboto, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
"""Typefaces of the same width as the one that the picture was laid out with."""
INK, GREY, PALE = "#1a1a1a", "#595959", "#d9d9d9"
"""Text, typical and own site; less important lines (7:1 on white); grid. No plot has these."""
_SETTINGS: dict[Any, Any] = {
    "font.family": ["Roboto", "DejaVu Sans"],
    "font.size": 8.5,
    "text.color": INK,
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.6,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "svg.fonttype": "none",
    "svg.hashsalt": "sheet_reader",
    "pdf.fonttype": 3,  # no subsetting of outlines, which takes most of a picture's time
    "figure.facecolor": "white",
    "text.parse_math": False,
}


@dataclass(frozen=True, slots=True)
class Style:
    """How a plot is drawn everywhere."""

    colour: str
    marker: str
    line: str
    filled: bool = True

    @property
    def face(self) -> str:
        """Fill of the sign."""
        return self.colour if self.filled else "white"


STYLES = (
    Style("#0b3c5d", "o", "-"),
    Style("#c25a00", "s", "--", filled=False),
    Style("#3d8b6e", "^", "-."),
    Style("#77711a", "D", ":", filled=False),
    Style("#2a7f93", "v", "-"),
    Style("#a33b4a", "P", "--", filled=False),
)
"""Of a plot, on all pictures. Dark blue and orange first: lightness 24 and 48 of 100, apart for all
kinds of colour vision.
"""
ALL_PLOTS = ("#f2f2f2", "#a6a6a6", "#262626")
"""Pale to dark: all plots together, no colour of a plot."""
STAGES = ("#f3edf6", "#a98bbb", "#42205a")
"""Pale to dark: the stages, no colour of a plot or of all together."""
SHADES = LinearSegmentedColormap.from_list("all plots", list(ALL_PLOTS))
_STAGES = LinearSegmentedColormap.from_list("stages", list(STAGES))


def stage_colours(number: int) -> list[tuple[float, float, float, float]]:
    """Shades from pale to dark, one for each stage."""
    return [_STAGES(0.12 + 0.88 * n / max(1, number - 1)) for n in range(number)]


@dataclass(frozen=True, slots=True)
class Drawing:
    """One picture: an ``svg`` element to stand inside a page, the same as a one-page ``pdf``, and
    its size in points.
    """

    svg: str
    pdf: bytes
    width: float
    height: float


@contextmanager
def drawing_style() -> Iterator[None]:
    """The settings under which pictures are made and written."""
    _typeface()
    with mpl.rc_context(_SETTINGS):
        yield


@cache
def _typeface() -> None:
    for path in (font_file("plain"), font_file("bold")):
        fontManager.addfont(str(path))


def new_figure(height: float) -> Figure:
    """An empty picture of the common width, ``height`` inches high."""
    return Figure(figsize=(WIDTH, height))


def finish(figure: Figure, name: str, alt: str) -> Drawing:
    """Write ``figure`` in both forms. ``name`` (letters, digits, hyphens) marks its ids, so that
    several pictures can stand in one page; ``alt`` is its text for those who don't see it.
    """
    svg, pdf = io.StringIO(), io.BytesIO()
    with warnings.catch_warnings():
        # a sign that neither typeface has: the page shows it all the same, by the reader's own
        warnings.filterwarnings("ignore", message="Glyph", category=UserWarning)
        figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
        figure.savefig(pdf, format="pdf", metadata={"CreationDate": None, "Producer": None})
    width, height = (float(inches) * 72 for inches in figure.get_size_inches())
    return Drawing(_inline(svg.getvalue(), name, alt), pdf.getvalue(), width, height)


def _inline(svg: str, name: str, alt: str) -> str:
    """The svg element alone, its ids made its own, named for screen readers."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\bid="|href="#|url\(#', rf"\g<0>{name}-", svg)
    svg = re.sub(r'font-family: [^;"]*;? ?', "", svg)
    head, rest = svg.split(">", 1)
    head = re.sub(r'\s(width|height|version)="[^"]*"', "", head)
    named = escape(alt, {'"': "&quot;"})
    style = f'style="font-family: {_FAMILIES}" role="img" aria-label="{named}"'
    return f"{head} {style}>{rest}".strip()


def quiet(axes: Axes) -> None:
    """A pale grid behind, no tick marks."""
    axes.set_axisbelow(True)
    axes.grid(axis="y", color=PALE, linewidth=0.6)
    axes.tick_params(length=0)


def ticks(point: str) -> FuncFormatter:
    """Numbers at an axis, with this decimal point."""
    return FuncFormatter(lambda value, _: plain_number(value).replace(".", point))


def spread(places: list[float], gap: float) -> list[float]:
    """``places`` moved as little as needed so that they lie at least ``gap`` apart."""
    order = sorted(range(len(places)), key=lambda i: places[i])
    moved = list(places)
    for _ in range(100):
        before = list(moved)
        for low, high in pairwise(order):
            lack = gap - (moved[high] - moved[low])
            if lack > 1e-9:
                moved[low] -= lack / 2
                moved[high] += lack / 2
        if moved == before:
            break
    return moved
