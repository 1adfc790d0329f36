"""Photographs of sheets of the first edition are found, and told from those of the present one."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from sheet_reader.intake.pictures import pictures_in
from sheet_reader.intake.types import Picture
from sheet_reader.lab.scoring import Score, score_views
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.model import BLANK
from sheet_reader.simulate.habits import NEAT, TYPICAL
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.photo import photograph
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import filled_sheet
from sheet_reader.simulate.values import random_visit
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.types import SheetView

TYPICAL_LEVEL = LEVELS["typical"].small(2560)
"""Pictures of a middling size: they are enough to tell editions apart."""


@pytest.mark.parametrize("sample", ["bean_book", "pool_book"])
@pytest.mark.parametrize("seed", range(4))
def test_photographs_of_either_edition(
    request: pytest.FixtureRequest, sample: str, seed: int
) -> None:
    book: LayoutBook = request.getfixturevalue(sample)
    rng = np.random.default_rng([seed, 77])
    visit = random_visit(book.study, rng)
    for version in book.versions:
        layout = book.layout(visit.site if seed % 2 else BLANK, version)
        page = layout.pages[seed % len(layout.pages)]
        hands = ProceduralHands()
        sheet = filled_sheet(book, page, visit, hands, TYPICAL_LEVEL, TYPICAL, rng)
        photo = photograph([sheet], TYPICAL_LEVEL, 100 + seed)
        picture = next(iter(pictures_in(photo.data, "photo.jpg")))
        assert isinstance(picture, Picture)
        views = [v for v in find_sheets(picture.gray, book) if isinstance(v, SheetView)]
        score = Score()
        score_views(photo.truth, views, score)
        assert (score.found, score.misidentified) == (1, 0)
        assert views[0].page == page
        assert score.boxes_placed > 0.9 * score.boxes
        assert max(score.errors_mm) < 1.0


def test_an_old_sheet_without_its_machine_code_is_told_by_its_printed_one(
    bean_book: LayoutBook,
) -> None:
    from sheet_reader.vision.printed import printed_code_available

    if not printed_code_available():
        pytest.skip("Tesseract is not installed")
    page = bean_book.layout("2043", bean_book.versions[1]).pages[0]
    rng = np.random.default_rng(3)
    visit = random_visit(bean_book.study, rng, "2043")
    level = LEVELS["easy"]
    sheet = filled_sheet(bean_book, page, visit, ProceduralHands(), level, NEAT, rng)
    x, y, w, h = (round(v * sheet.paper.px_per_mm) for v in page.code_box_mm)
    cv2.rectangle(sheet.paper.bgr, (x - 30, y - 30), (x + w + 30, y + h + 30), (60, 60, 60), -1)
    photo = photograph([sheet], level, 5)
    picture = next(iter(pictures_in(photo.data, "photo.jpg")))
    assert isinstance(picture, Picture)
    views = [v for v in find_sheets(picture.gray, bean_book) if isinstance(v, SheetView)]
    assert [(view.page, view.identified_by) for view in views] == [(page, "printed code")]
