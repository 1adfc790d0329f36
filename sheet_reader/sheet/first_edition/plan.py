"""Finds the arrangement of a study on paper: how many pages, columns and pieces of a plot."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sheet_reader.sheet.codes import MOST_PAGES
from sheet_reader.sheet.drawing import Line
from sheet_reader.sheet.first_edition.blocks import MOST_STRETCH, Block, draw_block, make_blocks
from sheet_reader.sheet.first_edition.draft import Draft
from sheet_reader.sheet.first_edition.panel import draw_panel, panel_height
from sheet_reader.sheet.identity import FOOT, PAPER_MM, SIDE
from sheet_reader.study.model import Study

_COLUMN_GAP = 6.0
_BLOCK_GAP = 3.0
_PANEL_GAP = 5.0
_UNDER_HEAD = 3.0

Ends = tuple[bool, bool]
"""Whether a page is the first, and whether it is the last."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Columns of equal width (mm) that take blocks of at most ``tallest`` mm in rows."""

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

    def panel_is_beside(self, blocks: int, ends: Ends) -> bool:
        """Whether the panel fits beside the last blocks of a page, in the places left free."""
        free = -blocks % self.count
        if not free:
            return False
        width = free * self.width + (free - 1) * _COLUMN_GAP
        need = panel_height(self.study, width, *ends)
        return need is not None and need <= self.tallest

    def used(self, blocks: int, ends: Ends) -> float | None:
        """Height of a page's blocks and panel in mm, or None where the panel fits nowhere."""
        rows = self.rows(blocks)
        used = rows * self.tallest + (rows - 1) * _BLOCK_GAP
        if self.panel_is_beside(blocks, ends):
            return used
        width = self.count * self.width + (self.count - 1) * _COLUMN_GAP
        panel = panel_height(self.study, width, *ends)
        return None if panel is None else used + _PANEL_GAP + panel


@dataclass(frozen=True, slots=True)
class Grid:
    """The arrangement that was found: columns, the blocks of each page in reading order, and
    the mm that every row gains.
    """

    columns: Columns
    pages: tuple[tuple[Block, ...], ...]
    stretch: float = 0.0

    def ends(self, page: int) -> Ends:
        """Whether a page (from 1) is the first, and whether it is the last."""
        return page == 1, page == len(self.pages)


def find_grid(study: Study, head_mm: tuple[float, float]) -> Grid | None:
    """The arrangement with the fewest pages, then pieces of a plot, then columns.

    ``head_mm`` says where the head ends on the first page and on any other. None where the study
    does not fit nine pages.
    """
    best: Grid | None = None
    for pieces in range(1, min(8, len(study.counts)) + 1):
        for columns in range(1, 5):
            if best is not None and len(best.pages) == 1:
                break
            grid = _arranged(study, pieces, columns, head_mm)
            if grid is not None and (best is None or len(grid.pages) < len(best.pages)):
                best = grid
    return None if best is None else _stretched(best, head_mm)


def _arranged(study: Study, pieces: int, count: int, head_mm: tuple[float, float]) -> Grid | None:
    """The arrangement in so many columns, its pages as even as can be."""
    width = (PAPER_MM[study.paper][0] - 2 * SIDE - _COLUMN_GAP * (count - 1)) / count
    blocks = make_blocks(study, pieces, width)
    if blocks is None or count > len(blocks):
        return None
    columns = Columns(study, count, width, max(block.height for block in blocks))
    full = _filled(columns, blocks, head_mm, len(blocks))
    if full is None:
        return None
    even = -(-len(blocks) // len(full.pages))
    for most in range(even, len(full.pages[0])):
        grid = _filled(columns, blocks, head_mm, most)
        if grid is not None and len(grid.pages) == len(full.pages):
            return grid
    return full


def _filled(
    columns: Columns, blocks: list[Block], head_mm: tuple[float, float], most: int
) -> Grid | None:
    """Pages filled one after the other with at most ``most`` blocks each."""
    pages: list[tuple[Block, ...]] = []
    left = blocks
    while left:
        if len(pages) == MOST_PAGES:
            return None
        available = _available(columns.study, head_mm, len(pages) + 1)
        rows = int((available + _BLOCK_GAP) / (columns.tallest + _BLOCK_GAP))
        for number in range(min(most, len(left), rows * columns.count), 0, -1):
            used = columns.used(number, (not pages, number == len(left)))
            if used is not None and used <= available:
                break
        else:
            return None
        pages.append(tuple(left[:number]))
        left = left[number:]
    return Grid(columns, tuple(pages))


def _available(study: Study, head_mm: tuple[float, float], page: int) -> float:
    return PAPER_MM[study.paper][1] - FOOT - head_mm[page > 1] - _UNDER_HEAD


def _stretched(grid: Grid, head_mm: tuple[float, float]) -> Grid:
    """The grid with rows as high as its fullest page allows."""
    slack = [MOST_STRETCH]
    longest = max(len(block.rows) for page in grid.pages for block in page)
    for page, blocks in enumerate(grid.pages, 1):
        used = grid.columns.used(len(blocks), grid.ends(page))
        if used is not None:
            free = _available(grid.columns.study, head_mm, page) - used
            slack.append(free / (grid.columns.rows(len(blocks)) * longest))
    return replace(grid, stretch=max(0.0, min(slack)))


def draw_page(draft: Draft, study: Study, grid: Grid, page: int, head_mm: float) -> None:
    """Draw the blocks and the panel of a page below its head."""
    width, height = PAPER_MM[study.paper]
    right, foot = width - SIDE, height - FOOT
    draft.marks.append(Line(((SIDE, head_mm), (right, head_mm)), 0.5))
    top = head_mm + _UNDER_HEAD
    columns, blocks = grid.columns, grid.pages[page - 1]
    longest = max(len(block.rows) for blocks_ in grid.pages for block in blocks_)
    step = columns.tallest + grid.stretch * longest + _BLOCK_GAP
    for place, block in enumerate(blocks):
        row, column = divmod(place, columns.count)
        draw_block(
            draft, block, columns.left(column), top + row * step, columns.width, grid.stretch
        )
    rows = columns.rows(len(blocks))
    if columns.panel_is_beside(len(blocks), grid.ends(page)):
        x, y = columns.left(len(blocks) % columns.count), top + (rows - 1) * step
        box = (x, y, right - x, min(step - _BLOCK_GAP, foot - y))
    else:
        y = top + rows * step - _BLOCK_GAP + _PANEL_GAP
        box = (SIDE, y, right - SIDE, foot - y)
        draft.marks.append(Line(((SIDE, y - 2.4), (right, y - 2.4)), 0.5))
    draw_panel(draft, study, box, page == 1)
