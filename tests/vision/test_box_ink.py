"""Strokes measured in a box's crop, shade levelled out of it, ink on its way from the tally."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from sheet_reader.numbers import VISION
from sheet_reader.sheet.page import Area, Cell, Page, SheetCode
from sheet_reader.vision import crops as box_crops
from sheet_reader.vision.box_ink import (
    edge_strokes,
    gap_strokes,
    leaving_mm,
    line_answers,
    line_filters,
    stroke_evidence,
)
from sheet_reader.vision.flat_page import FlatPage

Gray = np.ndarray
BOX = (0.0, 0.0, 8.0, 9.5)
PAPER = VISION.crops.paper
TURNED = [(0, 1), (1, 0)]


def crop(*lines: list[tuple[int, int]], dark: float = 0.5, noise: float = 0.0) -> Gray:
    """A framed box with polylines of a pen 3 px wide, ``dark`` and noisy as shares of paper."""
    gray = np.full((64, 64), PAPER, np.float32)
    ink = np.zeros((64, 64), np.uint8)
    for line in lines:
        cv2.polylines(ink, [np.array(line, np.int32)], False, 255, 3, cv2.LINE_AA)
    gray *= 1 - dark * ink.astype(np.float32) / 255
    cv2.rectangle(gray, (6, 6), (57, 58), 60.0, 2)
    gray += np.random.default_rng(3).normal(0, noise * PAPER, gray.shape)
    return np.clip(np.rint(gray), 0, 255).astype(np.uint8)


ONE = [(34, 16), (30, 48)]
LONG = [(40, -3), (30, 48)]


def without_bands(picture: Gray, box: tuple[float, float, float, float]) -> Gray:
    return box_crops.without_bands(picture[None], np.array([box]))[0]


def measured(picture: Gray):
    return stroke_evidence([picture], np.array([BOX]))[0]


@pytest.mark.parametrize("dark", [0.08, 0.3, 0.7])
def test_a_stroke_gives_its_own_darkness(dark: float) -> None:
    assert measured(crop(ONE, dark=dark)).stroke == pytest.approx(dark, rel=0.35)


def test_a_line_is_seen_that_each_of_its_pixels_hides() -> None:
    """Noise of 5 % in every pixel, a line of 8 %: more than twice what bare paper gives."""
    bare, faint = measured(crop(noise=0.05)), measured(crop(ONE, dark=0.08, noise=0.05))
    assert faint.stroke > 1.8 * bare.stroke
    assert bare.stroke == pytest.approx(4 * bare.stroke_noise, rel=0.35)


def test_even_shade_is_no_stroke() -> None:
    slope = np.linspace(0.7, 1.0, 64)[None, :] * np.full((64, 1), PAPER)
    assert measured(slope.astype(np.uint8)).stroke < 0.02


def test_boxes_of_several_sizes_keep_their_order() -> None:
    small = np.array([(0, 0, 8.0, 9.5), (0, 0, 5.0, 6.0), (0, 0, 8.0, 9.5)])
    dark, bare, pale = stroke_evidence([crop(ONE), crop(), crop(ONE, dark=0.1)], small)
    assert dark.stroke > 3 * pale.stroke > 6 * bare.stroke


def test_ink_that_runs_out_over_the_frame_leaves_its_box() -> None:
    assert measured(crop(LONG)).leaves_mm > 0.5
    assert measured(crop(ONE)).leaves_mm == 0.0
    for turns in range(4):
        turned = np.ascontiguousarray(np.rot90(crop(LONG), turns))
        assert leaving_mm(turned[None], BOX, np.array([0.5]))[0] > 0.5


def test_ink_of_a_neighbour_alone_does_not_leave_this_box() -> None:
    assert measured(crop([(0, 20), (3, 40)])).leaves_mm == 0.0


def shaded(picture: Gray, at: float, sd: float, depth: float, axis: int, reach: slice) -> Gray:
    """A band of shade across ``picture`` along ``axis``, over ``reach`` of its length only."""
    dip = 1 - depth * np.exp(-(((np.arange(64) - at) / sd) ** 2) / 2)
    gain = np.ones((64, 64))
    (gain if axis else gain.T)[:, reach] *= dip[:, None]
    return np.clip(picture * gain, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("written", [[], [ONE]])
def test_a_fold_s_shadow_is_levelled_out(axis: int, written: list) -> None:
    clean = crop(*written, noise=0.01)
    folded = shaded(clean, 30, 7, 0.3, axis, slice(None))
    even = without_bands(folded, BOX)
    assert np.abs(folded.astype(int) - clean).max() > 60
    off = np.abs(even.astype(int) - clean)
    assert np.percentile(off, 99) < 12
    assert measured(even).stroke == pytest.approx(measured(clean).stroke, abs=0.03)


def test_ink_that_ends_is_not_levelled_out() -> None:
    filled = shaded(crop(), 30, 7, 0.4, 1, slice(8, 56))
    assert np.array_equal(without_bands(filled, BOX), filled)
    clean = crop(ONE, noise=0.01)
    assert np.array_equal(without_bands(clean, BOX), clean)


@pytest.mark.parametrize("axis", [0, 1])
def test_a_line_drawn_through_several_boxes_is_kept(axis: int) -> None:
    """A number struck out by one long line, which goes on beyond the box to both sides."""
    line = [(-2, 34), (66, 30)] if axis else [(34, -2), (30, 66)]
    struck = crop(ONE, line, dark=0.6)
    assert np.abs(without_bands(struck, BOX).astype(int) - struck).max() < 12
    both = shaded(struck, 32, 8, 0.25, axis, slice(None))
    left = without_bands(both, BOX)
    assert left[10:54, 10:54].min(axis=0 if axis else 1).max() < 0.75 * PAPER


def page_with_tally() -> Page:
    cells = tuple(Cell("a.eggs", i, (50.0 + 10 * i, 20.0, 8.0, 9.5)) for i in range(2))
    space = Area("tally", (10.0, 19.0, 36.8, 12.0), "a.eggs")
    code = SheetCode("beans", "v1", "BLANK", 1)
    return Page(code, 1, 100.0, 60.0, (), cells, (0.0,) * 4, (0.0,) * 4, (space,))


def flat_with(*strokes: tuple[float, float, float, float]) -> FlatPage:
    """A page at 6 px/mm with lines x0, y0, x1, y1 in mm."""
    gray = np.full((360, 600), 230, np.uint8)
    for x0, y0, x1, y1 in strokes:
        ends = np.rint(np.array([(x0, y0), (x1, y1)]) * 6).astype(int).tolist()
        cv2.line(gray, ends[0], ends[1], 90, 3)
    return FlatPage(gray, np.full((360, 600), 230, np.uint8), None, 6.0)


def gap(flat: FlatPage, moved: float = 0.0) -> list[float]:
    return gap_strokes(page_with_tally(), flat, np.full((2, 2), moved)).tolist()


def test_strokes_between_tally_and_box_are_seen() -> None:
    tally = [(x, 21.0, x, 28.0) for x in np.arange(40.0, 51.0, 1.8)]
    first, second = gap(flat_with(*tally))
    assert first > 0.3
    assert second == 0.0


def test_tally_strokes_that_stay_and_digits_that_reach_over_are_not() -> None:
    inside = [(x, 21.0, x, 28.0) for x in (40.0, 42.0, 44.0)]
    overshoot = (49.7, 21.0, 53.0, 28.0)
    assert max(gap(flat_with(*inside, overshoot))) < 0.2


def test_the_gap_is_sought_where_the_box_lies() -> None:
    assert gap(flat_with((53.2, 26.0, 53.2, 31.0)), moved=5.0)[0] > 0.3
    assert gap(flat_with((53.2, 26.0, 53.2, 31.0)))[0] == 0.0


def dotted(*lines: list[tuple[int, int]]) -> Gray:
    """A box with a dotted frame, as the sheet prints it, and lines of a pen."""
    gray = np.full((64, 64), PAPER, np.uint8)
    for line in lines:
        cv2.polylines(gray, [np.array(line, np.int32)], False, 120, 3, cv2.LINE_AA)
    gray[8:58:4, 6:8] = gray[8:58:4, 57:59] = 60
    return gray


@pytest.mark.parametrize("slant", [-4, 0, 4])
def test_a_stroke_on_the_frame_is_seen_where_a_tally_leads_to_it(slant: int) -> None:
    tally = [(6 + slant // 2, 10), (6 - slant // 2, 54)]
    on_frame = dotted(ONE, tally)
    first, second = edge_strokes(page_with_tally(), [on_frame, on_frame])
    assert first > 0.2
    assert second == 0.0  # the field's second box


@pytest.mark.parametrize("lines", [[ONE], [], [ONE, [(55, 12), (56, 52)]], [[(8, 20), (30, 20)]]])
def test_a_bare_frame_or_one_that_a_digit_crosses_is_not(lines) -> None:
    assert edge_strokes(page_with_tally(), [dotted(*lines)] * 2)[0] < 0.08


def test_boxes_are_measured_alike_alone_and_together() -> None:
    """Several sizes in one go: nothing of one box runs into another."""
    sizes = np.array([(0, 0, 8.0, 9.5), (0, 0, 5.0, 6.0), (0, 0, 8.0, 9.5), (0, 0, 5.0, 6.0)])
    plain = [crop(LONG), crop(ONE, noise=0.02), crop(noise=0.02), crop(LONG, dark=0.2)]
    crops = np.stack([shaded(c, 30, 7, 0.3, k % 2, slice(None)) for k, c in enumerate(plain)])
    together = box_crops.without_bands(crops, sizes)
    for one, alone, size in zip(together, crops, sizes, strict=True):
        assert np.array_equal(one, without_bands(alone, tuple(size)))
    for number, told in enumerate(stroke_evidence(plain, sizes)):
        (own,) = stroke_evidence([plain[number]], sizes[[number]])
        assert told.stroke == pytest.approx(own.stroke, abs=1e-6)
        assert told.stroke_noise == pytest.approx(own.stroke_noise, abs=1e-6)
        assert told.leaves_mm == own.leaves_mm


@pytest.mark.parametrize("shape", [(23, 22), (3, 28), (1, 1)])
@pytest.mark.parametrize("standing", [False, True])
def test_answers_are_those_of_plain_filtering(shape: tuple[int, int], standing: bool) -> None:
    pictures = np.random.default_rng(2).uniform(0, 1, (3, *shape)).astype(np.float32)
    kernels = line_filters(standing)
    found = line_answers(pictures, standing=standing)
    assert found.shape == (3, len(kernels), *shape)
    for picture, answers in zip(pictures, found, strict=True):
        for kernel, answer in zip(kernels, answers, strict=True):
            plain = cv2.filter2D(picture, -1, kernel, borderType=cv2.BORDER_REPLICATE)
            assert np.abs(answer - plain).max() < 1e-5


def test_mirrored_pictures_go_on_as_in_a_mirror() -> None:
    picture = np.random.default_rng(3).uniform(0, 1, (20, 24)).astype(np.float32)
    found = line_answers(picture[None], mirrored=True)[0]
    for kernel, answer in zip(line_filters(), found, strict=True):
        plain = cv2.filter2D(picture, -1, kernel, borderType=cv2.BORDER_REFLECT)
        assert np.abs(answer - plain).max() < 1e-5


def test_a_line_answers_most_to_the_filter_of_its_direction() -> None:
    for turn in range(12):
        y, x = np.mgrid[-15:16, -15:16].astype(float)
        angle = turn * np.pi / 12
        across = y * np.cos(angle) - x * np.sin(angle)
        line = np.clip(1.25 - np.abs(across), 0, 1).astype(np.float32)
        answers = line_answers(line[None])[0, :, 15, 15]
        assert int(answers.argmax()) == turn
        assert answers.max() == pytest.approx(1.0, abs=0.1)
