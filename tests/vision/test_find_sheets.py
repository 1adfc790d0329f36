"""Sheets in pictures of known truth: flat, turned, bent, cut, covered, several at once."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from desk_pictures import (
    Array,
    Gray,
    Place,
    errors_mm,
    flat,
    lay,
    only_view,
    standing,
    true_centres,
    views,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from thorough import only

from sheet_reader.reasons import Occlusion
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import Page
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import NoSheet, SheetView

SCALE = 6.0


def desk(height: int = 2000, width: int = 1500) -> Gray:
    rng = np.random.default_rng(5)
    grain = rng.normal(105, 6, (height, width))
    return np.asarray(cv2.GaussianBlur(grain, (0, 0), 2), np.uint8)


def picture_of(
    book: LayoutBook, page: Page, place: Place, size: tuple[int, int] = (2000, 1500)
) -> Gray:
    canvas = desk(*size)
    lay(canvas, book.template(page, 8.0), page, place)
    return np.asarray(cv2.GaussianBlur(canvas, (0, 0), 0.7), np.uint8)


def curl(height_mm: float) -> object:
    def bend(points: Array) -> Array:
        wave = np.sin(points[:, 1] / 297 * np.pi) * np.sin(points[:, 0] / 240 + 0.4)
        return points + height_mm * np.stack([0.5 * wave, wave], axis=1)

    return bend


@pytest.fixture(scope="module")
def page(bean_book: LayoutBook) -> Page:
    return bean_book.layout("2043").pages[0]


@pytest.fixture(scope="module")
def upright() -> Place:
    return Place(standing(SCALE, 110, 90, 1.5))


@pytest.fixture(scope="module")
def plain(bean_book: LayoutBook, page: Page, upright: Place) -> Gray:
    return picture_of(bean_book, page, upright)


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_a_sheet_is_found_however_it_is_turned(
    bean_book: LayoutBook, page: Page, upright: Place, plain: Gray, quarters: int
) -> None:
    turned = np.ascontiguousarray(np.rot90(plain, quarters))
    view = only_view(find_sheets(turned, bean_book))
    assert view.page.code == page.code
    assert view.identified_by == "machine code"
    at = true_centres(page, upright)
    height, width = plain.shape
    for _ in range(quarters):
        at = np.stack([at[:, 1], width - 1 - at[:, 0]], axis=1)
        height, width = width, height
    off = np.linalg.norm(np.array([b.corners_px.mean(axis=0) for b in view.boxes]) - at, axis=1)
    assert off.max() / SCALE < 0.06
    crops = [b.crop for b in view.boxes]
    straight = [b.crop for b in only_view(find_sheets(plain, bean_book)).boxes]
    apart = [np.abs(a.astype(int) - b).mean() for a, b in zip(crops, straight, strict=True)]
    assert max(apart) < 12


def test_every_box_of_a_flat_sheet_is_exactly_placed_and_empty(
    bean_book: LayoutBook, page: Page, upright: Place, plain: Gray
) -> None:
    view = only_view(find_sheets(plain, bean_book))
    assert errors_mm(view, page, upright, SCALE).max() < 0.06
    assert [b.cell for b in view.boxes] == list(page.cells)
    assert all(b.occluded is Occlusion.NONE and b.ink == 0.0 for b in view.boxes)
    assert all(b.crop.shape == (64, 64) and b.crop.dtype == np.uint8 for b in view.boxes)
    paper = np.median([np.median(b.crop) for b in view.boxes])
    assert 238 <= paper <= 250
    assert view.quality.occluded_boxes == 0
    assert view.quality.px_per_mm == pytest.approx(SCALE, rel=0.01)
    assert view.quality.advice == ""


@pytest.mark.parametrize("which", ["bean", "pool"])
@pytest.mark.parametrize("height_mm", [4.0, -9.0])
def test_a_bent_sheet_is_laid_flat(
    bean_book: LayoutBook, pool_book: LayoutBook, which: str, height_mm: float
) -> None:
    book = bean_book if which == "bean" else pool_book
    page = book.layout().pages[-1]
    tilted = np.array([[6.4, 0.2, 90.0], [0.1, 6.6, 60.0], [2.2e-4, 3e-4, 1.0]])
    place = Place(tilted, curl(height_mm))  # type: ignore[arg-type]
    view = only_view(find_sheets(picture_of(book, page, place), book))
    assert view.page.code == page.code
    errors = errors_mm(view, page, place, SCALE)
    assert len(errors) == len(page.cells)
    assert np.median(errors) < 0.06
    assert errors.max() < 0.3


def test_a_fold_across_the_boxes_is_followed(bean_book: LayoutBook, page: Page) -> None:
    def fold(points: Array) -> Array:
        push = 0.06 * np.abs(points[:, 1] - 148.0)
        return points + np.stack([np.zeros_like(push), push], axis=1)

    place = Place(standing(SCALE, 100, 60), fold)
    view = only_view(find_sheets(picture_of(bean_book, page, place), bean_book))
    assert errors_mm(view, page, place, SCALE).max() < 0.3


@pytest.mark.parametrize(("first", "second"), [(0, 1), (0, 2), (3, 5), (6, 9), (1, 4)])
def test_two_markers_left_visible_are_enough(
    bean_book: LayoutBook, page: Page, upright: Place, plain: Gray, first: int, second: int
) -> None:
    picture = plain.copy()
    for i, marker in enumerate(page.markers):
        if i not in (first, second):
            spot = np.rint(upright.to_px(np.array(marker.corners_mm))).astype(np.int32)
            cv2.fillConvexPoly(picture, spot, 180)
    view = only_view(find_sheets(picture, bean_book))
    assert view.page.code == page.code
    errors = errors_mm(view, page, upright, SCALE)
    assert len(errors) == len(page.cells)
    assert errors.max() < 0.15


def test_three_corners_outside_the_picture(
    bean_book: LayoutBook, page: Page, upright: Place, plain: Gray
) -> None:
    """Only the upper right of the sheet is in the picture: its boxes are read, the others named."""
    left, bottom = 480, 1230
    picture = np.ascontiguousarray(plain[:bottom, left:])
    view = only_view(find_sheets(picture, bean_book))
    assert view.page.code == page.code
    centres = true_centres(page, upright) - (left, 0)
    reach = 6 * SCALE
    within = (centres[:, 0] > reach) & (centres[:, 1] < bottom - reach)
    gone = (centres[:, 0] < -reach) | (centres[:, 1] > bottom + reach)
    assert within.sum() > 8
    for box, inside, outside in zip(view.boxes, within, gone, strict=True):
        if inside:
            assert box.occluded is Occlusion.NONE
            off = np.linalg.norm(
                box.corners_px.mean(axis=0) - centres[list(page.cells).index(box.cell)]
            )
            assert off / SCALE < 0.15
        elif outside:
            assert box.occluded is Occlusion.OUTSIDE
    assert "bottom left corner is outside the picture" in view.quality.advice


def test_a_mirrored_scan_is_refused(bean_book: LayoutBook, plain: Gray) -> None:
    found = find_sheets(np.ascontiguousarray(plain[:, ::-1]), bean_book)
    assert views(found) == []


def test_two_sheets_and_both_pages_in_one_picture(pool_book: LayoutBook) -> None:
    first, second = pool_book.layout(pool_book.study.sites[0].number).pages
    other = pool_book.layout(pool_book.study.sites[3].number).pages[0]
    canvas = desk(1700, 3700)
    places = {
        first.code: (first, Place(standing(5, 60, 80, 2))),
        second.code: (second, Place(standing(5, 1330, 60, -3))),
        other.code: (other, Place(standing(5, 2480, 110, 1))),
    }
    for page, place in places.values():
        lay(canvas, pool_book.template(page, 8.0), page, place)
    found = views(find_sheets(canvas, pool_book))
    assert {v.page.code for v in found} == set(places)
    for view in found:
        page, place = places[view.page.code]
        assert errors_mm(view, page, place, 5.0).max() < 0.15


def test_a_thumb_over_boxes_is_named(
    bean_book: LayoutBook, page: Page, upright: Place, plain: Gray
) -> None:
    picture = plain.copy()
    covered = [i for i, c in enumerate(page.cells) if c.field == "pinched.blackfly"]
    spot = true_centres(page, upright)[covered].mean(axis=0)
    cv2.ellipse(picture, (round(spot[0]), round(spot[1])), (150, 60), 10, 0, 360, 120, -1)
    picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.6), np.uint8)
    view = only_view(find_sheets(picture, bean_book))
    assert {view.boxes[i].occluded for i in covered} == {Occlusion.COVERED}
    assert "fingers" in view.quality.advice
    assert view.boxes[0].occluded is Occlusion.NONE


def test_a_white_patch_over_boxes_is_never_guessed(
    bean_book: LayoutBook, page: Page, upright: Place, plain: Gray
) -> None:
    picture = plain.copy()
    covered = [i for i, c in enumerate(page.cells) if c.field == "pinched.blackfly"]
    x, y = np.rint(true_centres(page, upright)[covered].mean(axis=0)).astype(int)
    picture[y - 70 : y + 70, x - 190 : x + 190] = 250
    view = only_view(find_sheets(picture, bean_book))
    assert all(view.boxes[i].occluded for i in covered)


def test_glare_is_told_from_paper(
    bean_book: LayoutBook, page: Page, upright: Place, plain: Gray
) -> None:
    picture = plain.astype(np.float32) * 0.75
    x, y = true_centres(page, upright)[6]
    ys, xs = np.mgrid[: plain.shape[0], : plain.shape[1]]
    picture += 400 * np.exp(-((xs - x) ** 2 + (ys - y) ** 2) / (2 * 70.0**2))
    view = only_view(find_sheets(np.clip(picture, 0, 255).astype(np.uint8), bean_book))
    assert view.boxes[6].occluded is Occlusion.SATURATED
    assert "reflection" in view.quality.advice


def test_a_hard_shadow_through_the_boxes_is_no_ink(
    bean_book: LayoutBook, page: Page, upright: Place, plain: Gray
) -> None:
    dark = plain.astype(np.float32)
    edge = true_centres(page, upright)[:, 0]
    for x in np.unique(np.rint(edge).astype(int))[::3]:
        shadow = dark.copy()
        shadow[:, x:] *= 0.45
        soft = cv2.GaussianBlur(shadow, (0, 0), 0.8).astype(np.uint8)
        view = only_view(find_sheets(soft, bean_book))
        assert max(b.ink for b in view.boxes) < 0.01
        assert all(b.occluded is Occlusion.NONE for b in view.boxes)


@pytest.mark.parametrize("dpi", [150, 200, 300, only(600)])
def test_bilevel_scans_are_read(bean_book: LayoutBook, page: Page, dpi: int) -> None:
    """A fax-like page: black and white only, as wide as the paper, a little askew."""
    scale = dpi / 25.4
    size = (round(297 * scale), round(210 * scale))
    place = Place(standing(scale, 0.4, -0.3, 0.4))
    canvas = np.full(size, 255, np.uint8)
    lay(canvas, bean_book.template(page, max(scale, 8.0)), page, place)
    bilevel = np.where(canvas > 140, 255, 0).astype(np.uint8)
    view = only_view(find_sheets(bilevel, bean_book))
    assert view.page.code == page.code
    errors = errors_mm(view, page, place, scale)
    assert len(errors) == len(page.cells)
    assert errors.max() < 0.15


@settings(max_examples=8, deadline=None)
@given(
    turn=st.floats(-180, 180),
    scale=st.floats(4.0, 7.5),
    tilt=st.tuples(st.floats(-2e-4, 2e-4), st.floats(-2e-4, 2e-4)),
)
def test_whatever_is_printed_and_laid_is_found_again(
    bean_book: LayoutBook, turn: float, scale: float, tilt: tuple[float, float]
) -> None:
    page = bean_book.layout("2043").pages[0]
    matrix = standing(scale, 0, 0, turn)
    matrix[2, :2] = tilt
    edge = Place(matrix).to_px(np.array([[0, 0], [210, 0], [210, 297], [0, 297.0]]))
    move = np.eye(3)
    move[:2, 2] = 40 - edge.min(axis=0)
    width, height = (np.ptp(edge, axis=0) + 80).astype(int)
    place = Place(move @ matrix, flat)
    view = only_view(find_sheets(picture_of(bean_book, page, place, (height, width)), bean_book))
    assert view.page.code == page.code
    assert errors_mm(view, page, place, scale).max() < 0.15
    assert all(b.occluded is Occlusion.NONE for b in view.boxes)


@pytest.mark.slow
def test_real_pictures_without_a_sheet_yield_nothing(
    photo_folder: Path, bean_book: LayoutBook, pool_book: LayoutBook
) -> None:
    """All 58 real photographs and scans that hold no sheet of ours."""
    files = [f for f in sorted(photo_folder.rglob("*")) if f.suffix in (".jpg", ".png")]
    assert len(files) > 50
    for file in files:
        gray = cv2.imread(str(file), cv2.IMREAD_GRAYSCALE)
        for book in (bean_book, pool_book):
            found = find_sheets(gray, book)
            assert found, file.name
            assert all(isinstance(f, NoSheet) for f in found), file.name


@pytest.mark.parametrize("shape", [(1, 1), (3, 400), (64, 64), (700, 900)])
def test_pictures_of_nothing(bean_book: LayoutBook, shape: tuple[int, int]) -> None:
    found = find_sheets(np.full(shape, 200, np.uint8), bean_book)
    assert len(found) == 1
    assert not isinstance(found[0], SheetView)


def test_a_finger_over_half_a_box_is_noticed(
    bean_book: LayoutBook, page: Page, upright: Place, plain: Gray
) -> None:
    picture = plain.copy()
    number = next(i for i, c in enumerate(page.cells) if c.field == "pinched.blackfly")
    x, y = np.rint(true_centres(page, upright)[number]).astype(int)
    picture[y - 40 : y + 300, x + 3 : x + 90] = 190  # nearly as light as the paper
    view = only_view(find_sheets(picture, bean_book))
    assert view.boxes[number].occluded is Occlusion.COVERED
