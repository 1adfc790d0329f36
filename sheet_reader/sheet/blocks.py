"""A plot's block on the sheet: its title and a row for each count."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from sheet_reader.sheet.draft import Draft
from sheet_reader.sheet.drawing import Face, Line, Text
from sheet_reader.sheet.fonts import fit, text_width, wrap_even
from sheet_reader.sheet.rows import Row, draw_row, make_row
from sheet_reader.sheet.sizes import CAPITAL, HAIRLINE, HINT, INSTRUCTION, LABEL, PLOT, RULE
from sheet_reader.study.model import Plot, Study

MOST_AIR = 3.0
"""White that a row gains first beyond the tally space it wants, mm."""
_TITLE_STEP = 4.6
_UNDER_TITLE = 1.9
_BESIDE_TITLE = 3.0

TitleLine = tuple[str, float, Face]


@dataclass(frozen=True, slots=True)
class Block:
    """Counts of a plot that stand together. ``title`` has a line or more; ``aside`` (text and
    size) stands at the right end of the first, where it fits there.
    """

    plot: Plot
    rows: tuple[Row, ...]
    title: tuple[TitleLine, ...]
    aside: str
    title_mm: float

    @property
    def height(self) -> float:
        """Least height in mm."""
        return self.title_mm + sum(row.height for row in self.rows)

    @property
    def most(self) -> float:
        """Height at which every row has all the tally space it wants, and air."""
        wants = sum(max(0.0, row.wanted - row.least) for row in self.rows if row.tally)
        return self.height + wants + MOST_AIR * len(self.rows)

    def heights(self, height: float) -> list[float]:
        """The rows' heights in a block of this height: the tally spaces rise together towards
        what they want, then all rows get air.
        """
        slack = max(0.0, height - self.height)
        low, high = 0.0, 1.0
        for _ in range(40):
            share = (low + high) / 2
            low, high = (share, high) if sum(self._gains(share)) <= slack else (low, share)
        gains = self._gains(low)
        air = (slack - sum(gains)) / len(self.rows)
        return [row.height + gain + air for row, gain in zip(self.rows, gains, strict=True)]

    def _gains(self, share: float) -> list[float]:
        return [
            max(0.0, share * row.wanted - row.tally_height(row.height)) if row.tally else 0.0
            for row in self.rows
        ]

    def tally_share(self, height: float) -> float:
        """The smallest share (0..1) of the wanted tally space that a row gets at this height."""
        shares = [
            min(1.0, row.tally_height(tall) / row.wanted)
            for row, tall in zip(self.rows, self.heights(height), strict=True)
            if row.tally
        ]
        return min(shares, default=1.0)


def make_blocks(study: Study, pieces: int, width: float) -> list[Block] | None:
    """The study's blocks for columns of the given width, each plot cut into ``pieces`` as even as
    can be; None where a text or a row of boxes does not fit the width.
    """
    totals = {rule.total for rule in study.sums}
    size, longer = divmod(len(study.counts), pieces)
    cuts = [0]
    for piece in range(pieces):
        cuts.append(cuts[-1] + size + (piece < longer))
    parts = []
    for plot in study.plots:
        rows = [make_row(c, width, total=f"{plot.name}.{c.name}" in totals) for c in study.counts]
        whole = [row for row in rows if row is not None]
        if len(whole) < len(rows):
            return None
        for start, end in pairwise(cuts):
            aside = study.words.continued if start else plot.treatment
            title = _title(plot.label, aside, width)
            if title is None:
                return None
            parts.append((plot, tuple(whole[start:end]), *title))
    lines = max(len(title) for _, _, title, _ in parts)
    title_mm = CAPITAL * PLOT + _TITLE_STEP * (lines - 1) + _UNDER_TITLE
    return [Block(*part, title_mm) for part in parts]


def _title(label: str, aside: str, width: float) -> tuple[tuple[TitleLine, ...], str] | None:
    """The lines of a title, and what stands at the right end of the first; None where a word is
    too wide.
    """
    size = fit(label, width, PLOT, LABEL, "bold")
    lines = [label] if size else wrap_even(label, width, LABEL, "bold")
    if lines is None:
        return None
    size = size or LABEL
    title: list[TitleLine] = [(line, size, "bold") for line in lines]
    free = width - text_width(lines[0], size, "bold") - _BESIDE_TITLE
    if not aside or text_width(aside, INSTRUCTION, "italic") <= free:
        return tuple(title), aside
    below = wrap_even(aside, width, INSTRUCTION, "italic")
    if below is None:
        return None
    return (*title, *((line, INSTRUCTION, "italic") for line in below)), ""


def draw_block(
    draft: Draft, block: Block, tally: str, place: tuple[float, float, float, float]
) -> None:
    """Draw the block into ``place`` (x, y, width, height); ``tally`` is written into the first
    space to tally in.
    """
    x, y, width, height = place
    base = y + CAPITAL * PLOT
    for number, (text, size, face) in enumerate(block.title):
        draft.marks.append(Text(x, base + number * _TITLE_STEP, text, size, face))
    if block.aside:
        aside = Text(x + width, base, block.aside, INSTRUCTION, "italic", "right")
        draft.marks.append(aside)
    top = y + block.title_mm
    captioned = False
    for number, (row, tall) in enumerate(zip(block.rows, block.heights(height), strict=True)):
        heavy = row.total or not number
        draft.marks.append(Line(((x, top), (x + width, top)), RULE if heavy else HAIRLINE))
        field = f"{block.plot.name}.{row.count.name}"
        left = draw_row(draft, row, field, (x, top, tall))
        if left is not None and not captioned:
            captioned = True
            upper = draft.areas[-1].box_mm[1]
            caption = Text(left + 1.0, upper + 0.9 + CAPITAL * HINT, tally, HINT, "italic")
            draft.marks.append(caption)
        top += tall
