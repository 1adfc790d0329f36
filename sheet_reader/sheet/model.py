"""The printed sheet as plain frozen data, in millimetres: origin top left, x right, y down."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

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
    box_mm: tuple[float, float, float, float]
    part: str = ""


AreaKind = Literal["comments", "counted_by", "tally"]


@dataclass(frozen=True, slots=True)
class Area:
    """A place for free writing that is not read (``box_mm``: x, y, width, height): remarks, who
    counted, or the tally strokes of ``field``.
    """

    kind: AreaKind
    box_mm: tuple[float, float, float, float]
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
    code_box_mm: tuple[float, float, float, float]
    printed_code_box_mm: tuple[float, float, float, float]
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
    pages: tuple[Page, ...] = field(default=())
