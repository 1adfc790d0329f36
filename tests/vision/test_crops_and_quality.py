"""What leaves the room: clean crops, ink measures, and advice a volunteer can act on."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from desk_pictures import Gray, Place, lay, only_view, standing

from sheet_reader.reasons import Occlusion
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import Page
from sheet_reader.vision.crops import ink_shares, inner_slices, remove_neighbour_ink
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import PhotoQuality, SheetView
from sheet_reader.vision.quality import advice, what_is_outside

BOX = (0.0, 0.0, 8.2, 9.8)
SCALE = 7.0
PLACE = Place(standing(SCALE, 60, 50))


@pytest.fixture(scope="module")
def page(bean_book: LayoutBook) -> Page:
    return bean_book.layout("2043").pages[0]


@pytest.fixture(scope="module")
def plain(bean_book: LayoutBook, page: Page) -> Gray:
    canvas = np.full((2190, 1600), 110, np.uint8)
    lay(canvas, bean_book.template(page, 8.0), page, PLACE)
    return canvas


def with_strokes(
    picture: Gray, page: Page, strokes: dict[tuple[str, int], list[list[float]]]
) -> Gray:
    """Polylines in shares of a box (0..1 across and down), drawn with a pen of 0.7 mm."""
    copy = picture.copy()
    for cell in page.cells:
        if (cell.field, cell.index) in strokes:
            x, y, w, h = cell.box_mm
            at = np.array(strokes[cell.field, cell.index]) * (w, h) + (x, y)
            line = np.rint(PLACE.to_px(at)).astype(np.int32)
            cv2.polylines(copy, [line], False, 40, round(0.7 * SCALE), cv2.LINE_AA)
    return np.asarray(cv2.GaussianBlur(copy, (0, 0), 0.7), np.uint8)


def boxes_of(view: SheetView, field: str) -> list:
    return [b for b in view.boxes if b.cell.field == field]


def test_a_digit_that_crosses_its_frame_stays_whole_and_in_its_box(
    bean_book: LayoutBook, page: Page, plain: Gray
) -> None:
    """A stroke from well inside the first box to just short of the second."""
    stroke = {("pinched.plants", 0): [[0.3, 0.2], [0.7, 0.5], [1.21, 0.8]]}
    view = only_view(find_sheets(with_strokes(plain, page, stroke), bean_book))
    first, second = boxes_of(view, "pinched.plants")[:2]
    assert first.ink > 0.02
    assert second.ink == 0.0
    dark = (first.crop < 140).astype(np.uint8)
    rows, columns = inner_slices(first.cell.box_mm, -0.6)
    assert dark[rows, columns][:, -3:].any(), "the part beyond the frame is kept"


def test_the_neighbours_stroke_does_not_enter_the_crop(
    bean_book: LayoutBook, page: Page, plain: Gray
) -> None:
    """The second digit's stroke ends between the frames, within the first box's margin."""
    stroke = {("pinched.plants", 1): [[0.6, 0.3], [0.3, 0.5], [-0.19, 0.55]]}
    view = only_view(find_sheets(with_strokes(plain, page, stroke), bean_book))
    first, second = boxes_of(view, "pinched.plants")[:2]
    empty = boxes_of(only_view(find_sheets(plain, bean_book)), "pinched.plants")[0]
    assert second.ink > 0.02
    assert first.ink == 0.0
    assert np.abs(first.crop.astype(int) - empty.crop).mean() < 4


def test_a_stranger_is_dropped_and_a_digit_is_not() -> None:
    crop = np.full((64, 64), 245, np.uint8)
    cv2.line(crop, (0, 30), (6, 34), 60, 4)
    assert remove_neighbour_ink(crop, BOX).min() > 200
    cv2.line(crop, (0, 30), (40, 34), 60, 4)
    assert np.array_equal(remove_neighbour_ink(crop, BOX), crop)


def test_an_untouched_crop_is_passed_on_as_it_is() -> None:
    crop = np.full((64, 64), 245, np.uint8)
    cv2.line(crop, (20, 20), (40, 40), 50, 4)
    assert remove_neighbour_ink(crop, BOX) is crop


def test_ink_is_measured_against_the_noise_of_the_paper() -> None:
    rng = np.random.default_rng(2)
    boxes = np.array([BOX] * 12)
    for noise in (2.0, 14.0):
        crops = [np.clip(rng.normal(243, noise, (64, 64)), 0, 255).astype(np.uint8) for _ in boxes]
        cv2.line(crops[3], (24, 16), (40, 48), 90, 4)
        shares, measured = ink_shares(crops, boxes)
        assert shares[3] > 0.03
        assert np.delete(shares, 3).max() < 0.002
        assert 0.1 * noise / 245 < measured < noise / 245


def test_nothing_to_measure_is_no_error() -> None:
    shares, noise = ink_shares([], np.zeros((0, 4)))
    assert len(shares) == 0
    assert noise == 0.0


def test_a_struck_box_stays_dark(bean_book: LayoutBook, page: Page, plain: Gray) -> None:
    """A box filled in completely must not pass for dark paper."""
    zigzag = [[0.05 + 0.9 * (k % 2), k / 24] for k in range(25)]
    view = only_view(
        find_sheets(with_strokes(plain, page, {("pinched.plants", 0): zigzag}), bean_book)
    )
    box = boxes_of(view, "pinched.plants")[0]
    assert box.occluded == ""
    assert box.ink > 0.7
    assert np.median(box.crop[20:44, 20:44]) < 100


GOOD = PhotoQuality(px_per_mm=8.0, blur_mm=0.1, contrast=0.8, occluded_boxes=0, glare_share=0.0)
SHAPE = (2000, 1500)
WHOLE = np.array([[100, 100], [1400, 100], [1400, 1900], [100, 1900]], dtype=float)
FAR = np.array([[500, 700], [1000, 700], [1000, 1400], [500, 1400]], dtype=float)


def changed(**fields: float) -> PhotoQuality:
    values = {name: getattr(GOOD, name) for name in GOOD.__dataclass_fields__}
    return PhotoQuality(**{**values, **fields})


@pytest.mark.parametrize(
    ("quality", "occluded", "noise", "outline", "words"),
    [
        (GOOD, [], 0.01, WHOLE, ""),
        (
            GOOD,
            [Occlusion.OUTSIDE, Occlusion.COVERED],
            0.01,
            WHOLE - (0, 150),
            "top edge is outside",
        ),
        (GOOD, [Occlusion.COVERED], 0.01, WHOLE, "fingers"),
        (GOOD, [Occlusion.SATURATED], 0.01, WHOLE, "reflection"),
        (changed(glare_share=0.2), [], 0.01, WHOLE, "reflection"),
        (changed(px_per_mm=3.0), [], 0.01, FAR, "step closer: the sheet fills only a tenth"),
        (changed(px_per_mm=3.0), [], 0.01, WHOLE, "full size"),
        (changed(blur_mm=0.5), [], 0.01, WHOLE, "hold still"),
        (changed(contrast=0.2), [], 0.01, WHOLE, "more light"),
        (GOOD, [], 0.1, WHOLE, "more light"),
        (GOOD, [Occlusion.NO_FRAME], 0.01, WHOLE, "flat"),
    ],
)
def test_one_sentence_for_what_helps_most(
    quality: PhotoQuality, occluded: list[Occlusion], noise: float, outline: np.ndarray, words: str
) -> None:
    sentence = advice(quality, occluded, noise, outline, SHAPE)
    assert words in sentence
    assert sentence == "" or (sentence.startswith("Please") and sentence.endswith("."))


@pytest.mark.parametrize(
    ("move", "words"),
    [
        ((0, 0), ""),
        ((-150, 0), "left edge"),
        ((0, 150), "bottom edge"),
        ((-150, 150), "bottom left corner"),
    ],
)
def test_what_is_outside_is_named(move: tuple[float, float], words: str) -> None:
    assert what_is_outside(WHOLE + np.array(move, dtype=float), SHAPE) == words


def test_blur_is_measured_on_the_paper(bean_book: LayoutBook, plain: Gray) -> None:
    """Blurring by a Gaussian of s mm must be measured as about s mm."""
    for blur_mm in (0.15, 0.3):
        picture = np.asarray(cv2.GaussianBlur(plain, (0, 0), blur_mm * SCALE), np.uint8)
        measured = only_view(find_sheets(picture, bean_book)).quality.blur_mm
        assert measured == pytest.approx(blur_mm, abs=0.06)
