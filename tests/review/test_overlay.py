"""The photo with its boxes drawn."""

import numpy as np
import pytest

from sheet_reader.review.overlay import INKS, Mark, draw, overlay_name, quarter_turns, turned

PAGE = np.array([[100, 50], [300, 60], [290, 350], [90, 340]], np.float64)


@pytest.mark.parametrize("turns", range(4))
def test_a_page_is_brought_upright(turns: int) -> None:
    # A picture turned k quarters to the right needs k quarters to the left.
    lying = PAGE
    size = (400, 400)
    for _ in range(turns):
        lying = np.column_stack([size[1] - 1 - lying[:, 1], lying[:, 0]])
    assert quarter_turns(lying) == turns
    assert turned(lying, turns, size) == pytest.approx(PAGE)


@pytest.mark.parametrize("turns", range(4))
def test_points_turn_with_the_picture(turns: int) -> None:
    picture = np.zeros((30, 50), np.uint8)
    picture[7, 12] = 255
    ((x, y),) = turned(np.array([[12.0, 7.0]]), turns, (50, 30))
    assert np.rot90(picture, turns)[int(y), int(x)] == 255


def box_at(x: float, y: float) -> np.ndarray:
    return np.array([[[x, y], [x + 28, y], [x + 28, y + 36], [x, y + 36]]], np.float64)


def has_colour(picture: np.ndarray, status: str) -> bool:
    return bool((picture[:-44] == INKS[status]).all(axis=2).any())


@pytest.mark.parametrize("status", INKS)
def test_each_status_has_its_colour_in_the_picture(status: str) -> None:
    gray = np.full((300, 400), 230, np.uint8)
    drawn = draw(gray, [Mark(box_at(100, 100), status, "7")])
    assert drawn.shape == (344, 400, 3)
    assert has_colour(drawn, status)
    others = set(map(tuple, (INKS[s] for s in INKS))) - {INKS[status]}
    assert not any((drawn[:-44] == ink).all(axis=2).any() for ink in others)


def relative_luminance(blue_green_red: tuple[int, int, int]) -> float:
    # WCAG 2.2, definition of relative luminance.
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (value / 255 for value in reversed(blue_green_red))
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("status", INKS)
def test_colours_stand_out_from_paper(status: str) -> None:
    # WCAG 2.2, success criterion 1.4.11: at least 3:1 for graphics.
    contrast = 1.05 / (relative_luminance(INKS[status]) + 0.05)
    assert contrast >= 3.0


def test_large_pictures_are_shrunk_and_small_ones_kept() -> None:
    large = draw(np.full((4000, 3000), 230, np.uint8), [])
    assert large.shape == (2444, 1800, 3)


def test_an_overlay_bears_the_neutral_name_of_its_photo() -> None:
    assert overlay_name(27) == "photo-0027.jpg"
    assert overlay_name(12345, 2) == "photo-12345-3.jpg"
