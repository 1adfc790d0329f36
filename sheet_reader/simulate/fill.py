"""Fill a printed page in by hand, as volunteers do, and keep the truth of what was written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sheet_reader.numbers import SIMULATE
from sheet_reader.sheet.page import Area, Cell, Page
from sheet_reader.simulate import marks
from sheet_reader.simulate.habits import Habits
from sheet_reader.simulate.ink import InkPen, Stroke, lay_ink, pale_pencil, random_ink_pen
from sheet_reader.simulate.own_row import own_row
from sheet_reader.simulate.printer import Paper
from sheet_reader.simulate.roofed import RoofedOnes, roof
from sheet_reader.simulate.sources import DigitSource, Hands
from sheet_reader.simulate.spaces import largest_space
from sheet_reader.simulate.troubles import UNTROUBLED, SheetTroubles
from sheet_reader.simulate.truth import CellTruth, FieldState, FieldTruth
from sheet_reader.simulate.values import Visit
from sheet_reader.study.fields import OWN_DIGITS

EMPTY, STRUCK, OTHER = "empty", "struck", "other"
_REACH = SIMULATE.canvas_boxes
_PRESSURES = SIMULATE.pale_pressures


@dataclass(frozen=True, slots=True)
class _Style:
    align: str
    height: float
    width: float
    jitter: float


def fill_page(
    paper: Paper, page: Page, visit: Visit, hands: Hands, habits: Habits, rng: np.random.Generator,
    suffers: SheetTroubles = UNTROUBLED,
) -> tuple[tuple[FieldTruth, ...], tuple[CellTruth, ...], str]:  # fmt: skip
    """Write ``visit`` into the boxes of ``page`` on ``paper`` (changed in place), by one person
    of ``hands`` with one pen. Returns the truth of every field and box of the page, and
    who wrote.
    """
    pen = random_ink_pen(paper.px_per_mm, rng)
    if suffers.faint is not None:
        pen = pale_pencil(pen, suffers.faint)
    hand = hands.writer(pen, rng)
    style = _style(rng)
    if suffers.roofed:
        hand = RoofedOnes(hand, pen, *roof(rng))
    scribe = _Scribe(paper, pen, hand, style, habits, rng, page.areas, suffers)
    fields, cells = [], []
    for name, boxes in _by_field(page).items():
        field, found = scribe.field(name, boxes, visit.values.get(name, ""))
        fields.append(field)
        cells.extend(found)
    if rng.random() < habits.remark:
        scribe.remark()
    if rng.random() < habits.counted_by:
        scribe.sign_name()
    return tuple(fields), tuple(cells), scribe.hand.person


def _by_field(page: Page) -> dict[str, list[Cell]]:
    groups: dict[str, list[Cell]] = {}
    for cell in page.cells:
        groups.setdefault(cell.field, []).append(cell)
    return {name: sorted(cells, key=lambda c: c.index) for name, cells in groups.items()}


def _style(rng: np.random.Generator) -> _Style:
    return _Style(
        align=str(rng.choice(["right", "left", "zeros"], p=[0.55, 0.3, 0.15])),
        height=rng.uniform(0.58, 0.92),
        width=rng.uniform(0.65, 0.95),
        jitter=rng.uniform(0.02, 0.06),
    )


class _Scribe:
    """One volunteer at one page."""

    def __init__(
        self, paper: Paper, pen: InkPen, hand: DigitSource, style: _Style, habits: Habits,
        rng: np.random.Generator, areas: Sequence[Area] = (), suffers: SheetTroubles = UNTROUBLED,
    ) -> None:  # fmt: skip
        self.paper, self.pen, self.hand, self.suffers = paper, pen, hand, suffers
        self.style, self.habits, self.rng = style, habits, rng
        self.areas = areas

    def field(self, name: str, cells: list[Cell], value: str) -> tuple[FieldTruth, list[CellTruth]]:
        """Write one field; its truth and its boxes' truths."""
        if name == OWN_DIGITS:
            return self._own_digits(cells)
        header = "." not in name
        state = self._state(header, len(cells) - len(value))
        if not value:
            state = "empty"
        if state == "corrected" and self.rng.random() < self.habits.beside:
            return self._beside(name, cells, value)
        contents = self._contents(cells, value, state)
        for cell, content in zip(cells, contents, strict=True):
            self._write(cell, content, state)
        if state == "struck":
            self._strike(cells)
            contents = [STRUCK] * len(cells)  # the scribble runs over the free boxes too
        if not header and value and self.rng.random() < self.habits.tally:
            self._tally(name, int(value))
        strays = [self._stray(cell) for cell in cells]
        if not header and value and self.suffers.spill and self.rng.random() < self.suffers.spill:
            strays[0] |= self._spill(name, cells[0], int(value))
        kept = value if state in ("written", "corrected") else None
        truths = [
            CellTruth(name, cell.index, content, stray)
            for cell, content, stray in zip(cells, contents, strays, strict=True)
        ]
        return FieldTruth(name, kept, state), truths

    def _state(self, header: bool, spare: int) -> FieldState:
        habits, roll = self.habits, self.rng.random()
        if header:
            return "empty" if roll < habits.empty_header else "written"
        for state, share in (
            ("empty", habits.empty),
            ("struck", habits.struck),
            ("mark", habits.mark),
            ("corrected", habits.corrected * 2 if spare > 0 else 0.0),
        ):
            if roll < share:
                return state  # type: ignore[return-value]
            roll -= share
        return "written"

    def _contents(self, cells: list[Cell], value: str, state: FieldState) -> list[str]:
        """What each box holds: a digit, "empty", "struck" or "other"."""
        count = len(cells)
        if state == "empty":
            return [EMPTY] * count
        if any(cell.part for cell in cells):
            year, month, day = value.split("-")
            pool = {"day": day, "month": month, "year": year[2:]}
            parts = {p: iter(text) for p, text in pool.items()}
            contents = [next(parts[cell.part]) for cell in cells]
        else:
            contents = self._aligned(value, count, state)
        if state == "mark":
            place = int(self.rng.integers(count))
            return [OTHER if i == place else EMPTY for i in range(count)]
        if state == "struck":
            return [STRUCK if c != EMPTY else EMPTY for c in contents]
        return contents

    def _aligned(self, value: str, count: int, state: FieldState) -> list[str]:
        align = self.style.align
        if self.rng.random() < 0.08:
            align = str(self.rng.choice(["right", "left", "zeros"]))
        digits = list(value)
        if state == "corrected":
            digits.insert(int(self.rng.integers(len(digits) + 1)), STRUCK)
        spare = [EMPTY] * (count - len(digits))
        if align == "zeros" and state == "written":
            return ["0"] * len(spare) + digits
        return digits + spare if align == "left" else spare + digits

    def _box(self, cell: Cell) -> tuple[float, float, float, float]:
        """The box on the raster: x, y, width, height in px."""
        return self._placed(cell.box_mm)

    def _placed(
        self, box_mm: tuple[float, float, float, float]
    ) -> tuple[float, float, float, float]:
        x, y, width, height = box_mm
        corner = self.paper.place(np.array([[x, y]]))[0] * self.paper.px_per_mm
        factor = self.paper.scale * self.paper.px_per_mm
        return float(corner[0]), float(corner[1]), width * factor, height * factor

    def _write(self, cell: Cell, content: str, state: FieldState) -> None:
        if content == EMPTY:
            return
        x, y, width, height = self._box(cell)
        if content == OTHER:
            name = str(self.rng.choice(marks.SIGNS))
            self._ink(marks.sign(name, int(height * 0.8), int(width * 0.8), self.rng),
                      x + width * 0.1, y + height * 0.1, height, width)  # fmt: skip
            return
        digit = int(content) if content.isdigit() else int(self.rng.integers(10))
        self._digit(digit, x, y, width, height)
        if content == STRUCK and state == "corrected":
            if self.rng.random() < self.habits.filled:
                strokes = marks.filled_box(int(height), int(width), self.pen.width_px, self.rng)
            else:
                strokes = marks.cross_out(int(height), int(width), self.rng)
            self._ink(strokes, x, y, height, width)

    def _beside(
        self, name: str, cells: list[Cell], value: str
    ) -> tuple[FieldTruth, list[CellTruth]]:
        """A wrong number with every digit crossed out, and the right one beside the boxes. What
        stands beside is not read, so nothing readable stands in the field.
        """
        contents = self._aligned(value, len(cells), "struck")
        contents = [EMPTY if content == EMPTY else STRUCK for content in contents]
        for cell, content in zip(cells, contents, strict=True):
            self._write(cell, content, "corrected")
        x, y, width, height = self._box(cells[0])
        pitch = width * 0.8
        for place, digit in enumerate(value):
            left = x - pitch * (len(value) - place) - 0.35 * width
            self._digit(int(digit), left, y + 0.1 * height, pitch, 0.85 * height)
        truths = [
            CellTruth(name, cell.index, content)
            for cell, content in zip(cells, contents, strict=True)
        ]
        return FieldTruth(name, None, "struck"), truths

    def _own_digits(self, cells: list[Cell]) -> tuple[FieldTruth, list[CellTruth]]:
        """The volunteer's own ten digits, one to a box, as far as the sheet was understood."""
        contents = own_row(self.habits, self.rng)[: len(cells)]
        for cell, content in zip(cells, contents, strict=True):
            self._write(cell, content, "written")
        pairs = zip(cells, contents, strict=True)
        truths = [CellTruth(OWN_DIGITS, cell.index, content) for cell, content in pairs]
        written = "".join(content for content in contents if content != EMPTY)
        return FieldTruth(OWN_DIGITS, written or None, "written" if written else "empty"), truths

    def _digit(self, digit: int, x: float, y: float, width: float, height: float) -> None:
        style, rng = self.style, self.rng
        high = height * style.height * rng.uniform(0.92, 1.08)
        wide = width * style.width * rng.uniform(0.92, 1.08)
        shift = rng.normal(0, style.jitter, 2)
        if rng.random() < self.habits.overlap:
            grow = rng.uniform(1.0, 1.2)
            high, wide = high * grow, wide * grow
            shift += rng.choice([-1, 1], 2) * rng.uniform(0.05, 0.25, 2)
        ink = self.hand.draw(digit, max(4, int(high)), max(4, int(wide)), rng)
        if self.suffers.faint is not None:  # some digits are written with hardly any pressure
            ink = np.asarray(ink * np.float32(rng.uniform(*_PRESSURES)), np.float32)
        left = x + width * (0.5 + shift[0]) - wide / 2
        top = y + height * (0.5 + shift[1]) - high / 2
        lay_ink(self.paper.bgr, ink, (int(left), int(top)), self.pen)

    def _ink(self, strokes: list[Stroke], x: float, y: float, height: float, width: float) -> None:
        """Strokes (px from x, y) with room for what runs over the canvas."""
        pad = int(self.pen.width_px * 2 + 0.15 * max(height, width))
        shape = (int(height) + 2 * pad, int(width) + 2 * pad)
        ink = self.pen.draw([s + pad for s in strokes], shape, self.rng)
        lay_ink(self.paper.bgr, ink, (int(x) - pad, int(y) - pad), self.pen)

    def _strike(self, cells: list[Cell]) -> None:
        first, last = self._box(cells[0]), self._box(cells[-1])
        width, height = last[0] + last[2] - first[0], first[3]
        strokes = marks.scribble(int(height), int(width), self.pen.width_px, self.rng)
        self._ink(strokes, first[0], first[1], height, width)

    def _stray(self, cell: Cell) -> bool:
        if self.rng.random() >= self.habits.stray:
            return False
        x, y, width, height = self._box(cell)
        self._ink(marks.stray(int(height), int(width), self.rng), x, y, height, width)
        return True

    def _tally(self, name: str, count: int) -> None:
        """Tally strokes in the field's tally space, where it has one."""
        space = next((area for area in self.areas if area.field == name), None)
        if space is not None:
            left, top, wide, high = self._placed(space.box_mm)
            line = self.rng.uniform(5.5, 8.0) * self.paper.px_per_mm
            strokes = marks.tally(count, int(high), int(wide), self.rng, line)
            if strokes:
                self._ink(strokes, left, top, high, wide)

    def _spill(self, name: str, cell: Cell, count: int) -> bool:
        """The end of a row of tally strokes that runs into the first box; whether there is one."""
        space = next((area for area in self.areas if area.field == name), None)
        if space is None or count < 2:  # one stroke is no row that can run on
            return False
        x, y, width, height = self._box(cell)
        strokes = marks.tally_end(min(count, 4), height, width, self.rng)
        pad = width * 0.8
        self._ink([s + np.array([pad, 0.0]) for s in strokes], x - pad, y, height, width + pad)
        return True

    def remark(self) -> None:
        """A scrawl in the space for comments, or in the largest empty space of the page."""
        space = next((area for area in self.areas if area.kind == "comments"), None)
        x, y, width, height = self._placed(space.box_mm) if space else largest_space(self.paper)
        if min(width, height) < 12 * self.paper.px_per_mm:
            return
        inner = int(height * 0.8), int(width * 0.9)
        letter = self.rng.uniform(2.2, 3.6) * self.paper.px_per_mm
        strokes = marks.scrawl(*inner, letter, self.rng)
        self._ink(strokes, x + width * 0.05, y + height * 0.1, *inner)

    def sign_name(self) -> None:
        """A short word where the sheet asks who counted."""
        space = next((area for area in self.areas if area.kind == "counted_by"), None)
        if space is None:
            return
        x, y, width, height = self._placed(space.box_mm)
        letter = self.rng.uniform(0.3, 0.45) * height
        strokes = marks.scrawl(int(letter * 2), int(width * self.rng.uniform(0.3, 0.9)), letter,
                               self.rng)  # fmt: skip
        if strokes:
            self._ink(strokes[:2], x + 0.06 * width, y + 0.2 * height, height * 0.7, width * 0.9)
