"""A page while it is being laid out: digit boxes, writing spaces and model digits on it."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

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
Stroke = tuple[tuple[float, float], ...]


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


def _straight(*points: tuple[float, float]) -> Stroke:
    out = [points[0]]
    for (x0, y0), (x1, y1) in pairwise(points):
        out += [
            (x0 + (x1 - x0) / 3, y0 + (y1 - y0) / 3),
            (x0 + (x1 - x0) * 2 / 3, y0 + (y1 - y0) * 2 / 3),
            (x1, y1),
        ]
    return tuple(out)


MODEL_DIGITS: dict[str, tuple[Stroke, ...]] = {
    "0": (
        ((0.5, 0), (0.2, 0), (0.06, 0.33), (0.06, 0.7), (0.06, 1.07), (0.2, 1.4), (0.5, 1.4),
         (0.8, 1.4), (0.94, 1.07), (0.94, 0.7), (0.94, 0.33), (0.8, 0), (0.5, 0)),
    ),
    "1": (_straight((0.5, 0), (0.5, 1.4)),),
    "2": (
        ((0.08, 0.36), (0.12, 0.12), (0.3, 0), (0.5, 0), (0.74, 0), (0.9, 0.16), (0.9, 0.4),
         (0.9, 0.75), (0.4, 1.05), (0.08, 1.4), (0.36, 1.4), (0.66, 1.4), (0.94, 1.4)),
    ),
    "3": (
        ((0.12, 0.2), (0.22, 0.07), (0.36, 0), (0.5, 0), (0.72, 0), (0.86, 0.14), (0.86, 0.34),
         (0.86, 0.54), (0.7, 0.66), (0.44, 0.66), (0.74, 0.66), (0.92, 0.81), (0.92, 1.03),
         (0.92, 1.25), (0.75, 1.4), (0.5, 1.4), (0.32, 1.4), (0.17, 1.32), (0.08, 1.18)),
    ),
    "4": (
        _straight((0.22, 0), (0.12, 0.78), (0.92, 0.78)),
        _straight((0.7, 0.3), (0.7, 1.4)),
    ),
    "5": (
        (*_straight((0.86, 0), (0.2, 0), (0.14, 0.62)),
           (0.26, 0.54), (0.38, 0.5), (0.5, 0.5), (0.76, 0.5), (0.92, 0.68), (0.92, 0.94),
           (0.92, 1.22), (0.74, 1.4), (0.48, 1.4), (0.3, 1.4), (0.16, 1.33), (0.06, 1.2)),
    ),
    "6": (
        ((0.78, 0), (0.36, 0.2), (0.08, 0.6), (0.08, 0.96), (0.08, 1.22), (0.25, 1.4),
         (0.5, 1.4), (0.75, 1.4), (0.92, 1.22), (0.92, 0.98), (0.92, 0.74), (0.75, 0.58),
         (0.52, 0.58), (0.3, 0.58), (0.12, 0.74), (0.08, 0.96)),
    ),
    "7": (_straight((0.08, 0), (0.92, 0), (0.4, 1.4)),),
    "8": (
        ((0.5, 0.64), (0.26, 0.58), (0.16, 0.46), (0.16, 0.32), (0.16, 0.12), (0.3, 0),
         (0.5, 0), (0.7, 0), (0.84, 0.12), (0.84, 0.32), (0.84, 0.46), (0.74, 0.58),
         (0.5, 0.64), (0.22, 0.72), (0.08, 0.86), (0.08, 1.04), (0.08, 1.26), (0.26, 1.4),
         (0.5, 1.4), (0.74, 1.4), (0.92, 1.26), (0.92, 1.04), (0.92, 0.86), (0.78, 0.72),
         (0.5, 0.64)),
    ),
    "9": (
        ((0.92, 0.44), (0.88, 0.66), (0.7, 0.82), (0.48, 0.82), (0.25, 0.82), (0.08, 0.66),
         (0.08, 0.42), (0.08, 0.18), (0.25, 0), (0.5, 0), (0.76, 0), (0.92, 0.18),
         (0.92, 0.44), (0.92, 0.8), (0.8, 1.15), (0.62, 1.4)),
    ),
}  # fmt: skip


def model_digit(digit: str, x: float, y: float, height_mm: float, pen_mm: float) -> list[Curve]:
    """The strokes of a model digit with its top left corner at (x, y), in mm."""
    scale = height_mm / 1.4
    return [
        Curve(tuple((round(x + px * scale, 3), round(y + py * scale, 3)) for px, py in s), pen_mm)
        for s in MODEL_DIGITS[digit]
    ]
