"""Finds the arrangement of a study on paper: how many pages, columns and pieces of a plot."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sheet_reader.sheet.blocks import MOST_STRETCH, Block, draw_block, make_blocks
from sheet_reader.sheet.codes import MOST_PAGES
from sheet_reader.sheet.draft import Draft
from sheet_reader.sheet.drawing import Line
from sheet_reader.sheet.head import FOOT, SIDE
from sheet_reader.sheet.panel import draw_panel, panel_height
from sheet_reader.study.model import Study

PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""ISO 216 A4 and ANSI/ASME Y14.1 A (Letter)."""
_COLUMN_GAP = 6.0
_BLOCK_GAP = 3.0
_PANEL_GAP = 5.0
_UNDER_HEAD = 3.0


@dataclass(frozen=True, slots=True)
class Grid:
    """The arrangement that was found; ``blocks`` in reading order, ``per_page`` of them a page."""

    pages: int
    columns: int
    column_mm: float
    blocks: tuple[Block, ...]
    per_page: int
    stretch: float

    def on_page(self, page: int) -> tuple[Block, ...]:
        """The blocks of a page, numbered from 1."""
        return self.blocks[(page - 1) * self.per_page : page * self.per_page]


def find_grid(study: Study, head_mm: tuple[float, float]) -> Grid | None:
    """The arrangement with the fewest pages, then pieces of a plot, then columns.

    ``head_mm`` says where the head ends on the first page and on any other. None where the study
    does not fit nine pages.
    """
    for pages in range(1, MOST_PAGES + 1):
        for pieces, columns in _choices(study):
            grid = _try(study, pages, pieces, columns, head_mm)
            if grid is not None:
                return grid
    return None


def _choices(study: Study) -> Iterator[tuple[int, int]]:
    for pieces in range(1, min(6, len(study.counts)) + 1):
        for columns in range(1, 5):
            yield pieces, columns


def _try(
    study: Study, pages: int, pieces: int, columns: int, head_mm: tuple[float, float]
) -> Grid | None:
    width, height = PAPER_MM[study.paper]
    column = (width - 2 * SIDE - _COLUMN_GAP * (columns - 1)) / columns
    blocks = make_blocks(study, pieces, column)
    if blocks is None or len(blocks) < pages:
        return None
    per_page = -(-len(blocks) // pages)
    if columns > per_page or per_page * (pages - 1) >= len(blocks):
        return None
    grid = Grid(pages, columns, column, tuple(blocks), per_page, 0.0)
    slack = []
    for page in range(1, pages + 1):
        free = _free(study, grid, page, height - FOOT - head_mm[page > 1] - _UNDER_HEAD)
        if free is None or free < 0:
            return None
        rows = -(-len(grid.on_page(page)) // columns) * max(len(b.rows) for b in blocks)
        slack.append(free / rows)
    stretch = max(0.0, min(MOST_STRETCH, *slack))
    return Grid(pages, columns, column, tuple(blocks), per_page, stretch)


def _free(study: Study, grid: Grid, page: int, available: float) -> float | None:
    """Height left over on a page, or None where its panel fits nowhere."""
    blocks = grid.on_page(page)
    tallest = max(b.height for b in grid.blocks)
    rows = -(-len(blocks) // grid.columns)
    used = rows * tallest + (rows - 1) * _BLOCK_GAP
    if _place_is_free(study, grid, page, tallest):
        return available - used
    width = grid.columns * grid.column_mm + (grid.columns - 1) * _COLUMN_GAP
    panel = panel_height(study, width, page == 1, page == grid.pages)
    return None if panel is None else available - used - _PANEL_GAP - panel


def _place_is_free(study: Study, grid: Grid, page: int, height: float) -> bool:
    """Whether the panel fits beside the last blocks of the page."""
    free = -len(grid.on_page(page)) % grid.columns
    if not free:
        return False
    width = free * grid.column_mm + (free - 1) * _COLUMN_GAP
    need = panel_height(study, width, page == 1, page == grid.pages)
    return need is not None and need <= height


def draw_page(draft: Draft, study: Study, grid: Grid, page: int, head_mm: float) -> None:
    """Draw the blocks and the panel of a page below its head."""
    width, height = PAPER_MM[study.paper]
    right, foot = width - SIDE, height - FOOT
    draft.marks.append(Line(((SIDE, head_mm), (right, head_mm)), 0.5))
    top = head_mm + _UNDER_HEAD
    tallest = max(b.height + grid.stretch * len(b.rows) for b in grid.blocks)
    blocks = grid.on_page(page)
    for place, block in enumerate(blocks):
        row, column = divmod(place, grid.columns)
        x = SIDE + column * (grid.column_mm + _COLUMN_GAP)
        y = top + row * (tallest + _BLOCK_GAP)
        draw_block(draft, block, x, y, grid.column_mm, grid.stretch)
    rows = -(-len(blocks) // grid.columns)
    if _place_is_free(study, grid, page, max(b.height for b in grid.blocks)):
        x = SIDE + (len(blocks) % grid.columns) * (grid.column_mm + _COLUMN_GAP)
        y = top + (rows - 1) * (tallest + _BLOCK_GAP)
        box = (x, y, right - x, min(tallest, foot - y))
    else:
        y = top + rows * (tallest + _BLOCK_GAP) - _BLOCK_GAP + _PANEL_GAP
        box = (SIDE, y, right - SIDE, foot - y)
        draft.marks.append(Line(((SIDE, y - 2.4), (right, y - 2.4)), 0.5))
    draw_panel(draft, study, box, page == 1)
