"""What a person is shown of a field: half a box around, and never blank paper outside the photo."""

import cv2
import numpy as np

from sheet_reader.reading.field_pictures import close_up, context_png

BOXES = [(100.0, 50.0, 7.0, 9.0), (109.0, 50.0, 7.0, 9.0)]


def shown(gray: np.ndarray, shift: tuple[float, float]) -> np.ndarray:
    """The place around the boxes in a picture of 6 px to a mm, moved by ``shift`` in px."""
    corners = [
        [[(x + dx) * 6 + shift[0], (y + dy) * 6 + shift[1]]
         for dx, dy in ((0, 0), (w, 0), (w, h), (0, h))]
        for x, y, w, h in BOXES
    ]  # fmt: skip
    data = context_png(gray, np.array(corners).reshape(2, 4, 2).tolist(), BOXES)
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    return np.asarray(picture)


def test_the_close_up_has_half_a_box_all_round() -> None:
    left, top, right, bottom = close_up(BOXES)
    # 6 px to a mm; the surroundings begin 68 mm to the left and 6 mm above the first box
    assert (left, top) == (round((68 - 3.5) * 6), round((6 - 4.5) * 6))
    assert (right - left, bottom - top) == (6 * (16 + 7), 6 * (9 + 9))


def test_ink_below_the_box_is_shown() -> None:
    gray = np.full((600, 900), 230, np.uint8)
    gray[(50 + 9) * 6 + 4 : (50 + 9) * 6 + 16, 100 * 6 : 105 * 6] = 20
    left, top, right, bottom = close_up(BOXES)
    close = shown(gray, (0, 0))[top:bottom, left:right]
    assert close[-24:].min() < 60


def test_what_lies_outside_the_photo_is_hatched_and_not_blank() -> None:
    gray = np.full((600, 900), 230, np.uint8)
    left, top, right, bottom = close_up(BOXES)
    inside = shown(gray, (0, 0))[top:bottom, left:right]
    assert inside.min() > 200
    outside = shown(gray, (0, 400))[top:bottom, left:right]
    assert outside.std() > 20
    assert outside.max() < 230
