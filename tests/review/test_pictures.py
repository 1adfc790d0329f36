"""Boxes as pictures, and pictures in a terminal."""

import io

import numpy as np
import pytest
from rich.console import Console

from sheet_reader.review import pictures
from sheet_reader.wording import chance


def crops(count: int) -> np.ndarray:
    made = np.full((count, 64, 64), 235, np.uint8)
    made[:, 16:48, 28:36] = 40
    return made


def test_boxes_stand_side_by_side_in_their_shape_on_paper() -> None:
    one = pictures.strip(crops(1))
    six = pictures.strip(crops(6))
    # A box of 7 × 9 mm with 1 mm around it is 9 × 11 mm.
    assert one.shape[0] == 64
    assert one.shape[1] / one.shape[0] == pytest.approx(9 / 11, abs=0.01)
    assert six.shape[1] == 6 * one.shape[1] + 5 * pictures.GAP_PX


def test_no_boxes_give_no_picture() -> None:
    assert pictures.strip(crops(0)).shape[1] == 0
    assert pictures.drawing(pictures.strip(crops(0)), "blocks", 78) is None


def test_stretching_makes_ink_black_and_paper_white() -> None:
    grey = np.full((64, 64), 180, np.uint8)
    grey[20:40, 20:40] = 110
    spread = pictures.stretch(grey)
    assert spread.max() == 255
    assert spread.min() == 0


def test_stretching_does_not_blow_up_the_noise_of_bare_paper() -> None:
    noise = np.random.default_rng(1).normal(200, 2, (64, 64)).astype(np.uint8)
    assert pictures.stretch(noise).min() > 200


@pytest.mark.parametrize("mode", ["blocks", "plain"])
@pytest.mark.parametrize("count", [1, 3, 6])
def test_a_field_fits_80_columns_and_keeps_its_shape(mode: str, count: int) -> None:
    out = io.StringIO()
    console = Console(file=out, width=80, color_system=None)
    console.print(pictures.drawing(pictures.strip(crops(count)), mode, 78))  # type: ignore[arg-type]
    lines = out.getvalue().splitlines()
    assert len(lines) <= pictures.TALLEST_ROWS
    assert max(map(len, lines)) <= 80
    shape = pictures.strip(crops(count)).shape
    width, height = pictures.fit(shape[1], shape[0], 78, 12)
    assert len(lines) == height
    assert width / (2 * height) == pytest.approx(count * 9 / 11, rel=0.15)


def test_ink_is_where_it_is_in_the_picture() -> None:
    out = io.StringIO()
    console = Console(file=out, width=80, color_system=None)
    console.print(pictures.drawing(pictures.strip(crops(1)), "plain", 78))
    lines = out.getvalue().splitlines()
    middle = lines[len(lines) // 2]
    assert middle[len(middle.rstrip()) - 1] == "█"
    assert middle[0] == " "


def test_off_draws_nothing() -> None:
    assert pictures.drawing(pictures.strip(crops(2)), "off", 78) is None


def test_without_colours_letters_are_chosen() -> None:
    assert pictures.settle("auto", Console(file=io.StringIO(), color_system=None)) == "plain"
    colours = Console(file=io.StringIO(), force_terminal=True, color_system="truecolor")
    assert pictures.settle("auto", colours) == "blocks"
    assert pictures.settle("off", colours) == "off"


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.8, "80 %"), (0.9999, "over 99 %"), (1.0, "100 %"), (0.001, "under 1 %"), (0.0, "0 %")],
)
def test_percent_never_claims_certainty(value: float, text: str) -> None:
    assert chance(value) == text


@pytest.mark.parametrize("name", ["SixelImage", "TGPImage"])
def test_terminals_that_show_pictures_get_them(
    name: str, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    from textual_image import renderable

    monkeypatch.setattr(renderable, "Image", getattr(renderable, name))
    out = io.StringIO()
    console = Console(file=out, width=80, force_terminal=True, color_system="truecolor")
    console.print(pictures.drawing(pictures.strip(crops(2)), "graphics", 78))
    written = out.getvalue() + capfd.readouterr().out
    # DEC's sixel data start with ESC P, the terminal graphics protocol's with ESC _ G.
    assert ("\x1bP" if name == "SixelImage" else "\x1b_G") in written


def test_without_colours_thin_strokes_outlast_shrinking() -> None:
    """A stroke of two pixels in a picture shrunk to a sixth."""
    paper = np.full((120, 240), 255, np.uint8)
    paper[:, 119:121] = 20
    drawn = pictures.drawing(paper, "plain", 40, 10)
    assert all(set(line) & set("▀▄█") for line in str(drawn).splitlines())


def test_no_color_gives_a_picture_and_no_stripes(monkeypatch: pytest.MonkeyPatch) -> None:
    # https://no-color.org: set and not empty, whatever the terminal can do
    monkeypatch.setenv("NO_COLOR", "1")
    console = Console(file=io.StringIO(), force_terminal=True, color_system="truecolor")
    assert pictures.settle("auto", console) == "plain"


def test_pictures_side_by_side_are_as_high_as_the_highest() -> None:
    both = pictures.fitted_beside([np.zeros((20, 30), np.uint8), np.zeros((40, 10), np.uint8)])
    assert both.shape[0] == 40
    assert both.shape[1] > 60 + 10
