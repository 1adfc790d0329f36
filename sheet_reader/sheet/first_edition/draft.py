"""A page while it is being laid out, and the rows of digit boxes on it."""

from __future__ import annotations

from dataclasses import dataclass, field

from sheet_reader.sheet.drawing import Blocks, Dot, Line, Mark
from sheet_reader.sheet.model import Cell

BOX_WIDTH = 8.0
BOX_HEIGHT = 9.5
BOX_GAP = 2.2
DISC = 2.0
CLEAR = 1.6
"""White kept between a printed disc and the nearest box."""
END = CLEAR + DISC
"""What a disc takes at each end of a row of boxes."""
GROUP_GAP = CLEAR + DISC + CLEAR
_CORNER = 1.5
_LINE = 0.25
_DOT_PITCH = 0.7

Groups = tuple[tuple[str, int], ...]


@dataclass(slots=True)
class Draft:
    """Marks and cells gathered for one page."""

    marks: list[Mark] = field(default_factory=list)
    cells: list[Cell] = field(default_factory=list)


def box_groups(kind: str, boxes: int) -> Groups:
    """How the boxes of a field stand together: (part, number of boxes) from left to right.

    A date has day, month and year; more than four boxes stand in threes from the right, so that
    no box is far from a disc.
    """
    if kind == "date":
        return (("day", 2), ("month", 2), ("year", 2))
    if boxes <= 4:
        return (("", boxes),)
    first = boxes % 3
    return ((("", first),) if first else ()) + (("", 3),) * (boxes // 3)


def boxes_width(groups: Groups) -> float:
    """Width of a row of boxes with the discs between its groups, without those at its ends."""
    inner = sum(count * BOX_WIDTH + (count - 1) * BOX_GAP for _, count in groups)
    return inner + GROUP_GAP * (len(groups) - 1)


def row_width(groups: Groups) -> float:
    """Width of a row of boxes with all its discs."""
    return boxes_width(groups) + 2 * END


def draw_boxes(draft: Draft, name: str, groups: Groups, x: float, y: float) -> list[float]:
    """Draw a field's boxes and discs from ``x`` (left end of the row, disc included) with their
    tops at ``y``; returns the middle of each group.
    """
    middle_y = round(y + BOX_HEIGHT / 2, 3)
    left = x + END
    index = 0
    middles = []
    _disc(draft, x + DISC / 2, middle_y)
    for number, (part, count) in enumerate(groups):
        if number:
            _disc(draft, left + CLEAR + DISC / 2, middle_y)
            left += GROUP_GAP
        start = left
        for _ in range(count):
            box = (round(left, 3), round(y, 3), BOX_WIDTH, BOX_HEIGHT)
            draft.cells.append(Cell(name, index, box, part))
            draft.marks.extend(frame(box))
            left += BOX_WIDTH + BOX_GAP
            index += 1
        left -= BOX_GAP
        middles.append((start + left) / 2)
    _disc(draft, left + CLEAR + DISC / 2, middle_y)
    return middles


def _disc(draft: Draft, x: float, y: float) -> None:
    draft.marks.append(Dot(round(x, 3), y, DISC))


def frame(box: tuple[float, float, float, float]) -> list[Mark]:
    """The printed frame of a box: four solid corners and dotted sides, in pure black."""
    x, y, width, height = box
    marks: list[Mark] = []
    for cx, cy, sx, sy in (
        (x, y, 1, 1),
        (x + width, y, -1, 1),
        (x + width, y + height, -1, -1),
        (x, y + height, 1, -1),
    ):
        corner = ((cx, cy + sy * _CORNER), (cx, cy), (cx + sx * _CORNER, cy))
        marks.append(Line(corner, _LINE))
    places = [(x + place, edge) for place in _places(width) for edge in (y, y + height)]
    places += [(edge, y + place) for place in _places(height) for edge in (x, x + width)]
    half = _LINE / 2
    marks.append(Blocks(tuple((px - half, py - half, _LINE, _LINE) for px, py in places)))
    return marks


def _places(length: float) -> list[float]:
    free = length - 2 * _CORNER
    steps = max(2, round(free / _DOT_PITCH))
    return [round(_CORNER + free * i / steps, 4) for i in range(1, steps)]
