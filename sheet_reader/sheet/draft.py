"""A page while it is being laid out: digit boxes, writing spaces and model digits on it."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

from sheet_reader.sheet.fonts import HAIRLINE
from sheet_reader.sheet.page import Area, AreaKind, Blocks, Box, Cell, Curve, Line, Mark
from sheet_reader.study.kinds import Groups

BOX_WIDTH = 8.0
BOX_HEIGHT = 9.5
BOX_GAP = 2.2
GROUP_GAP = 5.0
_CORNER = 1.5
_LINE = 0.25
_DOT_PITCH = 0.7
_TICK = 1.8


@dataclass(slots=True)
class Draft:
    """Marks, cells and areas gathered for one page."""

    marks: list[Mark] = field(default_factory=list)
    cells: list[Cell] = field(default_factory=list)
    areas: list[Area] = field(default_factory=list)


def boxes_width(groups: Groups) -> float:
    """Width of a row of boxes in mm."""
    inner = sum(count * BOX_WIDTH + (count - 1) * BOX_GAP for _, count in groups)
    return inner + GROUP_GAP * (len(groups) - 1)


def draw_boxes(draft: Draft, name: str, groups: Groups, x: float, y: float) -> list[float]:
    """Draw a field's boxes with the top left corner of the first at (x, y); returns the middle of
    each group.
    """
    left = x
    index = 0
    middles = []
    for number, (part, count) in enumerate(groups):
        left += GROUP_GAP if number else 0.0
        start = left
        for _ in range(count):
            box = (round(left, 3), round(y, 3), BOX_WIDTH, BOX_HEIGHT)
            draw_cell(draft, Cell(name, index, box, part))
            left += BOX_WIDTH + BOX_GAP
            index += 1
        left -= BOX_GAP
        middles.append((start + left) / 2)
    return middles


def draw_cell(draft: Draft, cell: Cell) -> None:
    """Draw one digit box."""
    draft.cells.append(cell)
    draft.marks.extend(frame(cell.box_mm))


def draw_area(
    draft: Draft, kind: AreaKind, box: Box, of: str = "", *, closed: bool = False
) -> None:
    """Mark a space for free writing: by its corners alone, or by a frame where ``closed``."""
    x, y, width, height = (round(v, 3) for v in box)
    draft.areas.append(Area(kind, (x, y, width, height), of))
    if closed:
        right, foot = x + width, y + height
        ring = ((x, y), (right, y), (right, foot), (x, foot), (x, y))
        draft.marks.append(Line(ring, HAIRLINE))
    else:
        draft.marks.extend(corners((x, y, width, height), _TICK, HAIRLINE))


def corners(box: Box, arm: float, line: float) -> list[Mark]:
    """The four corners of a box, each with two arms, in mm."""
    x, y, width, height = box
    return [
        Line(((cx, cy + sy * arm), (cx, cy), (cx + sx * arm, cy)), line)
        for cx, cy, sx, sy in (
            (x, y, 1, 1),
            (x + width, y, -1, 1),
            (x + width, y + height, -1, -1),
            (x, y + height, 1, -1),
        )
    ]


def frame(box: Box) -> list[Mark]:
    """The printed frame of a box: four solid corners and dotted sides, in pure black."""
    x, y, width, height = box
    places = [(x + place, edge) for place in _places(width) for edge in (y, y + height)]
    places += [(edge, y + place) for place in _places(height) for edge in (x, x + width)]
    half = _LINE / 2
    dots = Blocks(tuple((px - half, py - half, _LINE, _LINE) for px, py in places))
    return [*corners(box, _CORNER, _LINE), dots]


def _places(length: float) -> list[float]:
    free = length - 2 * _CORNER
    steps = max(2, round(free / _DOT_PITCH))
    return [round(_CORNER + free * i / steps, 4) for i in range(1, steps)]


@cache
def _model_digits() -> dict[str, list[list[tuple[float, float]]]]:
    """Model digits as strokes of our own: open 4, plain 1 and 7, 0 without a slash.

    Each is a list of strokes in a frame of width 1 and height 1.4, y down; a stroke is a first
    point and then three points for every cubic curve.
    """
    text = files(__package__).joinpath("model_digits.json").read_text("utf-8")
    found: dict[str, list[list[tuple[float, float]]]] = json.loads(text)
    return found


def model_digit(digit: str, x: float, y: float, height_mm: float, pen_mm: float) -> list[Curve]:
    """The strokes of a model digit with its top left corner at (x, y), in mm."""
    scale = height_mm / 1.4
    return [
        Curve(tuple((round(x + px * scale, 3), round(y + py * scale, 3)) for px, py in s), pen_mm)
        for s in _model_digits()[digit]
    ]
