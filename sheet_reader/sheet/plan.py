"""Finds the arrangement of a study on paper: how many pages, columns and pieces of a plot."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sheet_reader.sheet.blocks import Block, draw_block, make_blocks
from sheet_reader.sheet.draft import Draft
from sheet_reader.sheet.fonts import RULE, TooWideError
from sheet_reader.sheet.head import BOTTOM
from sheet_reader.sheet.identity import MOST_PAGES, PAPER_MM, SIDE
from sheet_reader.sheet.page import Line
from sheet_reader.sheet.panel import draw_panel, panel_height
from sheet_reader.study.study import Study

_COLUMN_GAP = 7.0
_BLOCK_GAP = 3.4
_PANEL_GAP = 5.6
_UNDER_HEAD = 3.4
_MOST_COLUMNS = 4
_MOST_PIECES = 8
_SHARE_OF_REST = 0.3
_MOST_REST = 8.0

Ends = tuple[bool, bool]
"""Whether a page is the first, and whether it is the last."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Columns of equal width (mm) that take blocks of at least ``tallest`` mm in rows."""

    study: Study
    count: int
    width: float
    tallest: float

    def left(self, column: int) -> float:
        """Where a column begins, in mm from the left edge of the paper."""
        return SIDE + column * (self.width + _COLUMN_GAP)

    def rows(self, blocks: int) -> int:
        """Rows that so many blocks take."""
        return -(-blocks // self.count)

    def panel_is_beside(self, blocks: int, ends: Ends, height: float) -> bool:
        """Whether the panel fits beside the last blocks of a page, in the places left free, where
        every block has this height.
        """
        free = -blocks % self.count
        if not free:
            return False
        width = free * self.width + (free - 1) * _COLUMN_GAP
        return panel_height(self.study, width, *ends) <= height

    def block_height(self, blocks: int, ends: Ends, available: float) -> float | None:
        """How high the blocks of a page may be, or None where they do not fit ``available``."""
        rows = self.rows(blocks)
        alone = (available - (rows - 1) * _BLOCK_GAP) / rows
        if alone >= self.tallest and self.panel_is_beside(blocks, ends, alone):
            return alone
        width = self.count * self.width + (self.count - 1) * _COLUMN_GAP
        panel = panel_height(self.study, width, *ends)
        above = (available - panel - _PANEL_GAP - (rows - 1) * _BLOCK_GAP) / rows
        return above if above >= self.tallest else None


@dataclass(frozen=True, slots=True)
class Grid:
    """The arrangement that was found: columns, the blocks of each page in reading order, and the
    height of every block.
    """

    columns: Columns
    pages: tuple[tuple[Block, ...], ...]
    height: float

    def ends(self, page: int) -> Ends:
        """Whether a page (from 1) is the first, and whether it is the last."""
        return page == 1, page == len(self.pages)

    @property
    def tally_share(self) -> float:
        """The smallest share of the tally space wanted that a count gets, in tenths."""
        shares = (block.tally_share(self.height) for page in self.pages for block in page)
        return round(min(shares), 1)


def find_grid(study: Study, head_mm: tuple[float, float]) -> Grid | None:
    """The arrangement with the fewest pages, then pieces of a plot, then the most tally space.

    ``head_mm`` says where the head ends on the first page and on any other. None where the study
    does not fit nine pages.
    """
    best: Grid | None = None
    for pieces in range(1, min(_MOST_PIECES, len(study.counts)) + 1):
        found = [
            grid
            for columns in range(1, _MOST_COLUMNS + 1)
            if (grid := _arranged(study, pieces, columns, head_mm)) is not None
        ]
        if best is not None:
            found = [grid for grid in found if len(grid.pages) < len(best.pages)]
        if found:
            best = min(found, key=lambda grid: (len(grid.pages), -grid.tally_share))
        if best is not None and len(best.pages) == 1:
            break
    return best


def _arranged(study: Study, pieces: int, count: int, head_mm: tuple[float, float]) -> Grid | None:
    """The arrangement in so many columns on the fewest pages, these as even as can be."""
    width = (PAPER_MM[study.paper][0] - 2 * SIDE - _COLUMN_GAP * (count - 1)) / count
    try:
        blocks = make_blocks(study, pieces, width)
    except TooWideError:
        return None
    if count > len(blocks):
        return None
    columns = Columns(study, count, width, max(block.height for block in blocks))
    for pages in range(1, min(MOST_PAGES, len(blocks)) + 1):
        for split in _splits(len(blocks), pages):
            grid = _filled(columns, blocks, split, head_mm)
            if grid is not None:
                return grid
    return None


def _splits(blocks: int, pages: int) -> Iterator[tuple[int, ...]]:
    """Ways to spread blocks over pages so that no page has more than one above any other."""
    size, more = divmod(blocks, pages)
    even = [size + 1] * more + [size] * (pages - more)
    yield tuple(even)
    if more:
        yield from (tuple(even[-turn:] + even[:-turn]) for turn in range(1, pages))


def _filled(
    columns: Columns, blocks: list[Block], split: tuple[int, ...], head_mm: tuple[float, float]
) -> Grid | None:
    """The pages with so many blocks each, or None where a page can't hold its own."""
    highest = float("inf")
    pages: list[tuple[Block, ...]] = []
    start = 0
    for page, number in enumerate(split, 1):
        ends = (page == 1, page == len(split))
        available = PAPER_MM[columns.study.paper][1] - BOTTOM - head_mm[page > 1] - _UNDER_HEAD
        height = columns.block_height(number, ends, available)
        if height is None:
            return None
        highest = min(highest, height)
        pages.append(tuple(blocks[start : start + number]))
        start += number
    return Grid(columns, tuple(pages), _roomy(blocks, highest))


def _roomy(blocks: list[Block], highest: float) -> float:
    """The blocks' height where they may be ``highest``: all the tally space wanted and air first;
    of what is left then the rows take a part, comments the rest.
    """
    most = max(block.most for block in blocks)
    rows = min(len(block.rows) for block in blocks)
    left = max(0.0, highest - most)
    return min(highest, most) + min(left * _SHARE_OF_REST, _MOST_REST * rows)


def draw_page(draft: Draft, study: Study, grid: Grid, page: int, head_mm: float) -> None:
    """Draw the blocks and the panel of a page below its head."""
    width, height = PAPER_MM[study.paper]
    right, foot = width - SIDE, height - BOTTOM
    draft.marks.append(Line(((SIDE, head_mm), (right, head_mm)), RULE))
    top = head_mm + _UNDER_HEAD
    columns, blocks = grid.columns, grid.pages[page - 1]
    step = grid.height + _BLOCK_GAP
    for place, block in enumerate(blocks):
        row, column = divmod(place, columns.count)
        where = (columns.left(column), top + row * step, columns.width, grid.height)
        draw_block(draft, block, study.words.tally, where)
    rows = columns.rows(len(blocks))
    last = top + (rows - 1) * step
    if columns.panel_is_beside(len(blocks), grid.ends(page), foot - last):
        x = columns.left(len(blocks) % columns.count)
        box = (x, last, right - x, foot - last)
    else:
        y = last + grid.height + _PANEL_GAP
        box = (SIDE, y, right - SIDE, foot - y)
        draft.marks.append(Line(((SIDE, y - 2.8), (right, y - 2.8)), RULE))
    draw_panel(draft, study, box, page == 1)
