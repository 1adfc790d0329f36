"""The printed page as a list of marks, in mm from the top left: plain data between plan and PDF.

Everything is pure black on white: a cheap laser printer has nothing to dither.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Face = Literal["plain", "bold", "italic"]
Align = Literal["left", "centre", "right"]


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

    rectangles: tuple[tuple[float, float, float, float], ...]


Mark = Text | Line | Curve | Blocks
