"""Studies to lay out, and the rules that every printed page must keep."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from sheet_reader.sheet.fonts import HINT, text_width
from sheet_reader.sheet.page import Blocks, DrawnPage, Line, Mark, Text
from sheet_reader.study.fields import OWN_DIGITS
from sheet_reader.study.kinds import DATE, SITE
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import (
    Comments,
    CountField,
    FieldSpec,
    Plot,
    Season,
    Study,
    Visits,
)

SAMPLES = Path(__file__).parents[2] / "samples"
Box = tuple[float, float, float, float]


@pytest.fixture(scope="session", params=["bean_tips", "rock_pools"])
def sample(request: pytest.FixtureRequest) -> Study:
    return read_study(SAMPLES / str(request.param))


@pytest.fixture(scope="session")
def beans() -> Study:
    return read_study(SAMPLES / "bean_tips")


@pytest.fixture(scope="session")
def pools() -> Study:
    return read_study(SAMPLES / "rock_pools")


@pytest.fixture(scope="session")
def make_study() -> Callable[..., Study]:
    plain = Study(
        key="trial",
        title="Trial",
        paper="A4",
        season=Season(date(2026, 4, 1), date(2026, 9, 30)),
        visits=Visits(),
        header=(
            FieldSpec("site", "Site number", SITE, 4),
            FieldSpec("visit_date", "Visit date", DATE, 6),
        ),
        plots=(Plot("north", "North half", "mown"), Plot("south", "South half", "left")),
        counts=(CountField("snails", "Snails", 2, 0, 99), CountField("slugs", "Slugs", 3, 0, 500)),
        sums=(),
        comments=Comments("Comments", 20.0),
        instructions=("Look under the boards first.",),
        sites=(),
        folder=Path("trial"),
    )

    def make(**changes: Any) -> Study:
        return replace(plain, **changes)

    return make


def _text_box(mark: Text) -> Box:
    if mark.pitch_mm:
        width = mark.pitch_mm * len(mark.text)
    else:
        width = text_width(mark.text, mark.size_mm, mark.face)
    left = mark.x - {"left": 0.0, "centre": width / 2, "right": width}[mark.align]
    return (left, mark.y - 0.73 * mark.size_mm, left + width, mark.y + 0.21 * mark.size_mm)


def bounds(mark: Mark) -> Box:
    """Left, top, right, bottom in mm of what the mark blackens (capitals to descenders)."""
    if isinstance(mark, Text):
        return _text_box(mark)
    if isinstance(mark, Blocks):
        xs = [x for x, _, w, _ in mark.rectangles for x in (x, x + w)]
        ys = [y for _, y, _, h in mark.rectangles for y in (y, y + h)]
        return (min(xs), min(ys), max(xs), max(ys))
    half = mark.width_mm / 2
    xs, ys = [x for x, _ in mark.points], [y for _, y in mark.points]
    return (min(xs) - half, min(ys) - half, max(xs) + half, max(ys) + half)


def _distance(a: Box, b: Box) -> float:
    dx = max(a[0] - b[2], b[0] - a[2], 0.0)
    dy = max(a[1] - b[3], b[1] - a[3], 0.0)
    return max(dx, dy) if not (dx and dy) else float((dx**2 + dy**2) ** 0.5)


def _corners(box: Box) -> Box:
    x, y, width, height = box
    return (x, y, x + width, y + height)


def _cell_faults(drawn: DrawnPage) -> list[str]:
    page, faults = drawn.page, []
    boxes = [_corners(cell.box_mm) for cell in page.cells]
    for i, cell in enumerate(page.cells):
        size = (6.4, 7.6) if cell.field == OWN_DIGITS else (8.0, 9.5)
        if cell.box_mm[2:] != size:
            faults.append(f"box of {cell.field} is not {size[0]} × {size[1]} mm")
        faults += [
            f"boxes of {cell.field} and {page.cells[j].field} are nearer than 2 mm"
            for j in range(i)
            if _distance(boxes[i], boxes[j]) < 2
        ]
    return faults


def _text_faults(drawn: DrawnPage) -> list[str]:
    page, faults = drawn.page, []
    texts = [(mark.text, bounds(mark)) for mark in drawn.marks if isinstance(mark, Text)]
    keep = [(_corners(c.box_mm), 1.45, f"box of {c.field}") for c in page.cells]
    keep += [((*m.corners_mm[0], *m.corners_mm[2]), 1.3, f"marker {m.id}") for m in page.markers]
    keep.append((_corners(page.code_box_mm), 3.2 - 1e-6, "the machine code"))
    pieces = [piece for mark in drawn.marks if isinstance(mark, Line) for piece in _pieces(mark)]
    for i, (text, box) in enumerate(texts):
        faults += [
            f"“{text}” is too near {what}"
            for other, gap, what in keep
            if _distance(box, other) < gap
        ]
        faults += [
            f"“{text}” runs into “{other}”"
            for other, place in texts[:i]
            if _distance(box, place) <= 0 and text and other
        ]
        faults += [
            f"“{text}” runs into the line {piece}"
            for piece in pieces
            if _distance(box, piece) <= 0 and text
        ]
    sizes = [mark for mark in drawn.marks if isinstance(mark, Text) and mark.size_mm < HINT - 1e-6]
    return [*faults, *(f"“{mark.text}” is smaller than 8 points" for mark in sizes)]


def _pieces(mark: Line) -> list[Box]:
    """The straight pieces of a line, each as the box that it blackens."""
    half = mark.width_mm / 2
    return [
        (min(ax, bx) - half, min(ay, by) - half, max(ax, bx) + half, max(ay, by) + half)
        for (ax, ay), (bx, by) in pairwise(mark.points)
    ]


def _area_faults(drawn: DrawnPage) -> list[str]:
    page, faults = drawn.page, []
    taken = [(_corners(c.box_mm), f"box of {c.field}") for c in page.cells]
    taken += [((*m.corners_mm[0], *m.corners_mm[2]), f"marker {m.id}") for m in page.markers]
    taken.append((_corners(page.code_box_mm), "the machine code"))
    least = {"comments": (40.0, 20.0), "counted_by": (40.0, 8.0), "tally": (14.0, 7.5)}
    for i, area in enumerate(page.areas):
        box = _corners(area.box_mm)
        width, height = least[area.kind]
        if area.box_mm[2] < width - 1e-3 or area.box_mm[3] < height - 1e-3:
            faults.append(f"{area} is smaller than {width} × {height} mm")
        faults += [
            f"{area} is too near {what}" for other, what in taken if _distance(box, other) < 2
        ]
        faults += [
            f"{area} runs into {other}"
            for other in page.areas[:i]
            if _distance(box, _corners(other.box_mm)) <= 0
        ]
        faults += [
            f"{area} lies over “{mark.text}”"
            for mark in drawn.marks
            if isinstance(mark, Text)
            and _distance(box, bounds(mark)) <= 0
            and mark.face != "italic"
        ]
    return faults


def _edge_faults(drawn: DrawnPage) -> list[str]:
    page = drawn.page
    return [
        f"{mark!r:.80} is nearer than 9 mm to the edge"
        for mark in drawn.marks
        for left, top, right, bottom in [bounds(mark)]
        if min(left, top, page.width_mm - right, page.height_mm - bottom) < 9 - 1e-6
    ]


def _line_faults(drawn: DrawnPage) -> list[str]:
    faults = []
    cells = [_corners(cell.box_mm) for cell in drawn.page.cells]
    frame = 0.3
    for mark in drawn.marks:
        if isinstance(mark, Text):
            continue
        box = bounds(mark)
        for cell in cells:
            own = all(
                cell[i] - frame <= box[i] <= cell[i + 2] + frame
                and cell[i] - frame <= box[i + 2] <= cell[i + 2] + frame
                for i in (0, 1)
            )
            if not own and _distance(box, cell) < 1.3:
                faults.append(f"{mark!r:.60} is nearer than 1.3 mm to a box")
    return faults


@pytest.fixture(scope="session")
def faults() -> Callable[[DrawnPage], list[str]]:
    """All breaches of the rules of the printed page, in words."""

    def find(drawn: DrawnPage) -> list[str]:
        return [
            *_cell_faults(drawn),
            *_text_faults(drawn),
            *_edge_faults(drawn),
            *_line_faults(drawn),
            *_area_faults(drawn),
        ]

    return find
