"""Pale pencil, the page behind, folds, spilling tallies, roofed 1s: what they do to a sheet."""

from __future__ import annotations

from dataclasses import asdict, replace

import cv2
import numpy as np
import pytest

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.fill import fill_page
from sheet_reader.simulate.habits import NEAT
from sheet_reader.simulate.hand import random_hand
from sheet_reader.simulate.ink import pale_pencil, random_ink_pen
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.printer import Paper
from sheet_reader.simulate.roofed import RoofedOnes, roof
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.spoil import FoldLine, folded, let_through, shade_fold
from sheet_reader.simulate.study_photos import random_request
from sheet_reader.simulate.surface import Surface, random_surface
from sheet_reader.simulate.troubles import (
    FOR_BENCHMARK,
    FOR_CALIBRATION,
    NONE,
    UNTROUBLED,
    SheetTroubles,
    person_at,
)
from sheet_reader.simulate.values import random_visit

PX_PER_MM = 6.0


def filled(book: LayoutBook, suffers: SheetTroubles, seed: int = 3) -> tuple[np.ndarray, tuple]:
    """Ink on white paper in place of the first page, and the boxes' truth."""
    rng = np.random.default_rng(seed)
    page = book.layout().pages[0]
    shape = round(page.height_mm * PX_PER_MM), round(page.width_mm * PX_PER_MM), 3
    paper = Paper(np.full(shape, 255, np.uint8), PX_PER_MM)
    visit = random_visit(book.study, rng)
    _, cells, _ = fill_page(paper, page, visit, ProceduralHands(), NEAT, rng, suffers)
    return paper.bgr, cells


def test_the_two_sets_differ_in_every_share_and_draw_what_they_say() -> None:
    other = asdict(FOR_BENCHMARK)
    for name, value in asdict(FOR_CALIBRATION).items():
        if not isinstance(value, tuple) and name != "wrong_sum":
            assert value != other[name], name
            assert value > 0
    drawn = [FOR_BENCHMARK.of_sheet(np.random.default_rng(n)) for n in range(2000)]
    assert np.mean([s.faint is not None for s in drawn]) == pytest.approx(0.09, abs=0.02)
    assert np.mean([s.fold is not None for s in drawn]) == pytest.approx(0.10, abs=0.02)
    low, high = FOR_BENCHMARK.faint_darkness
    assert all(low <= s.faint <= high for s in drawn if s.faint is not None)
    assert NONE.of_sheet(np.random.default_rng(1)) == UNTROUBLED


def test_a_pale_pencil_leaves_pale_strokes(beans: LayoutBook) -> None:
    usual, pale = (filled(beans, s)[0].min(axis=2) for s in (UNTROUBLED, SheetTroubles(faint=0.2)))
    assert np.percentile(255 - usual[usual < 250], 95) > 120
    assert 15 < np.percentile(255 - pale[pale < 250], 95) < 60
    pen = random_ink_pen(12.0, np.random.default_rng(1))
    assert pale_pencil(pen, 0.2).width_px == pen.width_px


def test_a_tally_that_spills_leaves_ink_in_the_first_box(beans: LayoutBook) -> None:
    page = beans.layout().pages[0]
    ink, cells = filled(beans, SheetTroubles(spill=1.0))
    before, _ = filled(beans, UNTROUBLED)
    strays = [c for c in cells if c.stray]
    assert strays
    assert {c.index for c in strays} == {0}
    boxes = {(c.field, c.index): c.box_mm for c in page.cells}
    touched = 0
    for cell in strays:
        x, y, width, height = boxes[cell.field, 0]
        rows = slice(int(y * PX_PER_MM), int((y + height) * PX_PER_MM))
        columns = slice(int((x - 3) * PX_PER_MM), int((x + width) * PX_PER_MM))
        touched += int((ink[rows, columns].min(axis=2) < 200).sum()) > 40
    assert touched == len(strays)
    assert len(strays) < len({c.field for c in cells if c.field.count(".")})  # not where 0 or 1
    assert (before < 255).any()


def test_the_page_behind_shows_mirrored_and_pale() -> None:
    paper = Paper(np.full((900, 1200, 3), 250, np.uint8), PX_PER_MM)
    behind = np.full((900, 1200, 3), 255, np.uint8)
    cv2.line(behind, (200, 300), (200, 500), (0, 0, 0), 12)
    let_through(paper, behind, 0.1, np.random.default_rng(2))
    dark = np.argwhere(paper.bgr[..., 0] < 240)
    assert 220 <= paper.bgr.min() < 240
    assert dark[:, 1].mean() > 600 - 360  # x = 200 from the other side is 1000, moved up to 60 mm
    assert np.ptp(dark[:, 0]) == pytest.approx(200, abs=20)


@pytest.mark.parametrize("upright", [False, True])
def test_a_fold_is_a_dark_line_from_edge_to_edge(upright: bool) -> None:
    paper = Paper(np.full((600, 800, 3), 250, np.uint8), PX_PER_MM)
    shade_fold(paper, FoldLine(50.0, upright, 0.05), 0.3, 1.0, np.random.default_rng(2))
    grey = paper.bgr[..., 0].T if upright else paper.bgr[..., 0]
    assert np.abs(grey.argmin(axis=0) / PX_PER_MM - 50).max() < 2
    assert grey.min(axis=0).max() < 220
    assert grey[:200].min() == 250


def test_folded_paper_stands_up_along_the_line() -> None:
    lines = (FoldLine(80.0, False, np.radians(5)),)
    surface = folded(Surface(210, 297), lines)
    slopes = surface.slopes(np.array([[100.0, 70.0], [100.0, 90.0]]))[:, 1]
    assert slopes[0] * slopes[1] < 0
    assert len(surface.creases) == 1
    level = random_surface(LEVELS["easy"], 210, 297, np.random.default_rng(1))
    assert folded(level, ()) == level


def test_a_roofed_1_is_no_plain_stroke_and_other_digits_stay() -> None:
    rng = np.random.default_rng(5)
    pen = random_ink_pen(12.0, rng)
    hand = ProceduralHands().writer(pen, rng)
    one = RoofedOnes(hand, pen, 0.4, 0.3, 0.1, crossed=False)
    ink = one.draw(1, 110, 90, np.random.default_rng(1)) > 0.2
    upper, lower = ink[:45].any(axis=0).sum(), ink[70:].any(axis=0).sum()
    assert upper > 2 * lower
    same = [h.draw(3, 110, 90, np.random.default_rng(1)) for h in (one, hand)]
    assert np.array_equal(*same)
    crossed = replace(one, crossed=True).draw(7, 110, 90, np.random.default_rng(1))
    assert not np.array_equal(crossed, hand.draw(7, 110, 90, np.random.default_rng(1)))
    assert roof(np.random.default_rng(1)) != roof(np.random.default_rng(2))


def test_wrong_sums_come_as_often_as_told(beans: LayoutBook) -> None:
    often = replace(NONE, wrong_sum=1.0)
    assert all(random_request(beans, n, often).visit.wrong_sums for n in range(20))
    never = replace(NONE, wrong_sum=0.0)
    assert not any(random_request(beans, n, never).visit.wrong_sums for n in range(20))


def test_at_some_sites_several_people_write_in_turns() -> None:
    hands = {
        site: {random_hand(person_at(site, n, FOR_BENCHMARK)).habit for n in range(8)}
        for site in map(str, range(1000, 1080))
    }
    several = np.mean([len(found) > 1 for found in hands.values()])
    assert several == pytest.approx(0.3, abs=0.15)
    assert max(map(len, hands.values())) <= 3
    alone = {random_hand(person_at("1000", n, NONE)).habit for n in range(12)}
    assert len(alone) == 1
