"""Photographs of the page that checks printer and paper."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from thorough import every

from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.reasons import Code, Reason
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.identity import PROOF
from sheet_reader.sheet.page import BLANK, SheetCode
from sheet_reader.sheet.pdf import rasterise
from sheet_reader.sheet.proof import render_proof
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.photo import FilledSheet, photograph
from sheet_reader.simulate.printer import PAPER_MM, Paper, print_page
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import NoSheet
from sheet_reader.vision.print_check import PrintSeen, scale_on, verdict
from sheet_reader.wording import words

GOOD = PrintSeen((0.97, 0.97), "A4", 0.8, 10, 10, 0)
TYPICAL = replace(LEVELS["typical"], feed_stretch=0.0, thumbs=(1.0,))


def proof(book: LayoutBook, scale: float, seed: int, paper: str = "A4") -> Paper:
    level = replace(TYPICAL, print_scale=(scale, scale))
    raster = rasterise(render_proof(book.study), 1, 12.0)
    return print_page(raster, 12.0, level, np.random.default_rng([seed, 9]), PAPER_MM[paper])


def result(book: LayoutBook, paper: Paper, seed: int) -> str:
    photo = photograph([FilledSheet(paper)], TYPICAL, seed)
    picture = next(iter(pictures_in(photo.data, "proof.jpg")))
    assert isinstance(picture, OpenedPicture)
    found = find_sheets(picture.gray, book)
    assert [f.reason.code for f in found if isinstance(f, NoSheet)] == [Code.PRINT_CHECK]
    assert isinstance(found[0], NoSheet)
    return words([found[0].reason])


@pytest.mark.parametrize("seed", every(2, range(4)))
def test_a_good_print_is_fine_and_its_scale_told(bean_book: LayoutBook, seed: int) -> None:
    scale = (1.0, 0.97, 0.94, 0.91)[seed]
    line = result(bean_book, proof(bean_book, scale, seed), 700 + seed)
    told = re.match(r"print check: fine: printed at (\d+) %, contrast 0\.\d\d, all 10 ", line)
    assert told, line
    assert abs(int(told[1]) - 100 * scale) <= 1.5
    assert "\n" not in line


@pytest.mark.parametrize("seed", every(2, range(2)))
def test_a_print_that_is_too_small_is_not_fine(bean_book: LayoutBook, seed: int) -> None:
    line = result(bean_book, proof(bean_book, 0.84, seed), 720 + seed)
    assert re.match(r"print check: not fine: printed at 8[345] %: choose 100 %", line), line


def test_a_print_on_other_paper_is_told(bean_book: LayoutBook) -> None:
    line = result(bean_book, proof(bean_book, 0.93, 3, "Letter"), 731)
    assert "the paper is Letter, but study.toml says A4" in line


def test_a_pale_print_is_not_fine(bean_book: LayoutBook) -> None:
    paper = proof(bean_book, 0.97, 5)
    white = np.percentile(paper.bgr, 90)
    pale = (white - (white - paper.bgr.astype(np.float64)) * 0.28).clip(0, 255)
    line = result(bean_book, replace(paper, bgr=pale.astype(np.uint8)), 741)
    assert line.startswith("print check: not fine: ")
    assert "the contrast is 0." in line


def test_paper_without_edges_leaves_the_scale_open(bean_book: LayoutBook) -> None:
    """A page on a table as white as itself."""
    paper = proof(bean_book, 0.9, 6)
    found = find_sheets(paper_alone(paper), bean_book)
    assert isinstance(found[0], NoSheet)
    assert "the scale can't be told" in words([found[0].reason])
    assert "fine" not in words([found[0].reason])


def paper_alone(paper: Paper) -> np.ndarray:
    """The paper as a scanner with a white lid sees it."""
    gray = paper.bgr.mean(axis=2)
    white = np.median(gray)
    return np.pad(gray, 400, constant_values=white).clip(0, 255).astype(np.uint8)


def test_the_scale_follows_from_the_paper() -> None:
    left, top, right, bottom = 5.0, 4.0, 5.0, 6.0
    edges = (left, top, right, bottom)
    assert scale_on(edges, (200.0, 290.0), (210.0, 300.0)) == (1.0, 1.0)
    assert scale_on((0.0,) * 4, (210.0, 297.0), (105.0, 297.0)) == (0.5, 1.0)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({}, "fine: printed at 97 %"),
        ({"scale": (1.03, 1.03)}, "not fine: printed at 103 %"),
        ({"scale": (0.97, 0.93)}, "printed at 97 % across but 93 % down"),
        ({"markers": 7}, "3 of 10 corner marks are not seen"),
        ({"lost": 4}, "the frames of 4 boxes are not seen"),
        ({"contrast": 0.2}, "the contrast is 0.20, less than 0.35"),
        ({"advice": "Please hold still."}, "this photograph can't tell. Please hold still."),
        ({"scale": None}, "the scale can't be told"),
    ],
)
def test_verdicts(change: dict[str, object], said: str) -> None:
    line = verdict(replace(GOOD, **change), "A4")  # type: ignore[arg-type]
    assert said in line
    assert line.startswith("fine") == (not change)


def test_far_markers_alone_are_no_result(bean_book: LayoutBook) -> None:
    found = bean_book.lookup(SheetCode(bean_book.study.key, PROOF, BLANK, 1))
    assert isinstance(found, Reason)
    assert found.code is Code.PRINT_CHECK
