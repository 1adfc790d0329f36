"""The printed sheet as plain frozen data, in millimetres: origin top left, x right, y down.

A :class:`Page` is what is known of a page to read it; its marks are what is printed, between layout
and PDF. Everything is pure black on white: a cheap laser printer has nothing to dither.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Face = Literal["plain", "bold", "italic"]
Align = Literal["left", "centre", "right"]
AreaKind = Literal["comments", "counted_by", "tally"]
Box = tuple[float, float, float, float]
"""x, y, width, height."""
BLANK = "BLANK"
"""The ``sheet`` part of a code whose site number is written by hand."""


@dataclass(frozen=True, slots=True)
class SheetCode:
    """Which page this is: study key, layout version, sheet (a site number or BLANK), page."""

    study: str
    layout: str
    sheet: str
    page: int


@dataclass(frozen=True, slots=True)
class Marker:
    """A fiducial marker (AprilTag 36h11 id): four corners in mm, clockwise from top left."""

    id: int
    corners_mm: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """One digit box. ``index`` 0 is the leftmost of its field; ``box_mm`` is x, y, width, height
    of the middle line of the printed frame. ``part`` is day, month or year in a date, else "".
    """

    field: str
    index: int
    box_mm: Box
    part: str = ""


@dataclass(frozen=True, slots=True)
class Area:
    """A place for free writing that is not read (``box_mm``: x, y, width, height): remarks, who
    counted, or the tally strokes of ``field``.
    """

    kind: AreaKind
    box_mm: Box
    field: str = ""


@dataclass(frozen=True, slots=True)
class Page:
    """One printed page. ``code_box_mm`` holds the machine code and ``printed_code_box_mm`` the
    human-readable one (x, y, width, height).
    """

    code: SheetCode
    of: int
    width_mm: float
    height_mm: float
    markers: tuple[Marker, ...]
    cells: tuple[Cell, ...]
    code_box_mm: Box
    printed_code_box_mm: Box
    areas: tuple[Area, ...] = ()

    @property
    def number(self) -> int:
        """The page's number, from 1."""
        return self.code.page


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """All pages of one sheet: for a site of the site list, or blank."""

    study: str
    version: str
    sheet: str
    pages: tuple[Page, ...] = ()


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text; ``y`` is its baseline, ``size_mm`` the font's size; ``pitch_mm`` above 0
    sets each sign in a place of that width.
    """

    x: float
    y: float
    text: str
    size_mm: float
    face: Face = "plain"
    align: Align = "left"
    pitch_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """A polyline with round ends."""

    points: tuple[tuple[float, float], ...]
    width_mm: float


@dataclass(frozen=True, slots=True)
class Curve:
    """A stroke of cubic curves: a first point, then three points for each piece."""

    points: tuple[tuple[float, float], ...]
    width_mm: float


@dataclass(frozen=True, slots=True)
class Blocks:
    """Solid rectangles (x, y, width, height) filled as one shape."""

    rectangles: tuple[Box, ...]


Mark = Text | Line | Curve | Blocks


@dataclass(frozen=True, slots=True)
class DrawnPage:
    """A page and everything printed on it."""

    page: Page
    marks: tuple[Mark, ...]
