"""Reading the printed code where the machine code is gone: by its signs, else by Tesseract."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest
from desk_pictures import PLACE, Gray, covered_print, lay, only_view, painted, refusal

from sheet_reader.reading.photo import default_reader, read_bytes
from sheet_reader.reasons import Code
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.identity import printed_text
from sheet_reader.sheet.page import BLANK, Page, SheetCode
from sheet_reader.simulate.no_sheet import older_layout
from sheet_reader.vision import printed_code
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import NoSheet
from sheet_reader.wording import words

needs_tesseract = pytest.mark.skipif(
    not printed_code.tesseract_available(), reason="Tesseract is not installed"
)


@pytest.fixture
def unsure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Signs are never told surely by their shapes, so that Tesseract is asked."""
    monkeypatch.setattr(printed_code, "_by_signs", lambda *_: None)


@pytest.mark.parametrize("blur_px", [0.6, 1.4, 2.0])
def test_the_printed_code_serves_where_the_machine_code_is_gone(
    bean_book: LayoutBook, page: Page, blur_px: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read sign by sign, so that nobody need ask Tesseract; of any sheet of the study."""
    monkeypatch.setattr(printed_code, "_tesseract", lambda _: pytest.fail("asked"))
    for sheet in (BLANK, *(site.number for site in bean_book.study.sites)):
        own = bean_book.layout(sheet).pages[0]
        canvas = np.full((1900, 1400), 110, np.uint8)
        lay(canvas, bean_book.template(own, 8.0), own, PLACE)
        soft = np.asarray(cv2.GaussianBlur(canvas, (0, 0), blur_px), np.uint8)
        view = only_view(find_sheets(painted(soft, page.code_box_mm, 128), bean_book))
        assert view.page.code == own.code
        assert view.identified_by == "printed code"


@pytest.mark.parametrize("sign", range(16))
def test_a_sign_that_is_covered_is_never_guessed_by_its_shape(
    bean_book: LayoutBook, page: Page, plain: Gray, sign: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Gray] = []
    monkeypatch.setattr(printed_code, "tesseract_available", lambda: True)
    monkeypatch.setattr(printed_code, "_tesseract", lambda piece: asked.append(piece) or "")
    x, y, w, h = page.printed_code_box_mm
    text = printed_text(page.code)
    assert len(text) == 17
    picture = painted(plain, page.code_box_mm, 128)
    covered = painted(picture, (x + sign * w / 17, y, w / 17, h), 250)
    found = find_sheets(covered, bean_book)[0]
    if text[sign] == "-":
        assert only_view([found]).page.code == page.code
    else:
        assert isinstance(found, NoSheet)
        assert asked


def test_another_layouts_sheet_is_named_by_its_printed_code(
    bean_book: LayoutBook, page: Page, plain: Gray, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printed_code, "_tesseract", lambda _: pytest.fail("asked"))
    answer = refusal(painted(plain, page.code_box_mm, 128), older_layout(bean_book))
    assert answer.reason.code is Code.OLDER_LAYOUT


@pytest.mark.parametrize(
    ("least", "lead", "sure"), [(0.9, 0.2, True), (0.9, 0.005, False), (0.5, 0.2, False)]
)
def test_signs_must_be_like_their_print_and_likelier_than_all_others(
    bean_book: LayoutBook, page: Page, plain: Gray, monkeypatch: pytest.MonkeyPatch,
    least: float, lead: float, sure: bool,
) -> None:  # fmt: skip
    seen = (printed_text(page.code), least, lead)
    monkeypatch.setattr(printed_code.SeenLine, "read", lambda *_: seen)
    monkeypatch.setattr(printed_code, "tesseract_available", lambda: True)
    monkeypatch.setattr(printed_code, "_tesseract", lambda _: "")
    found = find_sheets(painted(plain, page.code_box_mm, 128), bean_book)[0]
    assert isinstance(found, NoSheet) != sure


@pytest.fixture
def tesseract_says(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """What Tesseract reads where signs are not sure, the first times and from then on."""

    def says(*texts: str) -> None:
        heard = iter(texts)
        monkeypatch.setattr(printed_code, "_by_signs", lambda *_: None)
        monkeypatch.setattr(printed_code, "tesseract_available", lambda: True)
        monkeypatch.setattr(printed_code, "_tesseract", lambda _: next(heard, texts[-1]))

    return says


def test_a_sheet_that_is_not_in_the_book_takes_two_readings_that_agree(
    bean_book: LayoutBook, page: Page, plain: Gray, tesseract_says: Callable[..., None]
) -> None:
    text, book = printed_text(page.code), older_layout(bean_book)
    picture = painted(plain, page.code_box_mm, 128)
    for texts, code in (
        ([text, ""], Code.CODE_UNREADABLE), (["", text, "", text], Code.OLDER_LAYOUT),
    ):  # fmt: skip
        tesseract_says(*texts)
        assert refusal(picture, book).reason.code is code


@pytest.mark.parametrize(("wrong", "believed"), [(2, True), (3, False)])
def test_a_code_of_the_study_may_have_two_misread_signs(
    bean_book: LayoutBook, page: Page, plain: Gray, tesseract_says: Callable[..., None],
    wrong: int, believed: bool,
) -> None:  # fmt: skip
    text = printed_text(page.code)
    misread = "".join("X" if sign != "X" else "Y" for sign in text[:wrong]) + text[wrong:]
    assert "-" not in text[:wrong]
    tesseract_says(misread)
    found = find_sheets(painted(plain, page.code_box_mm, 128), bean_book)[0]
    assert isinstance(found, NoSheet) != believed


def test_what_tesseract_reads_where_no_print_is_seen_is_not_believed(
    bean_book: LayoutBook, page: Page, plain: Gray, tesseract_says: Callable[..., None]
) -> None:
    tesseract_says(printed_text(page.code))
    covered = covered_print(painted(plain, page.code_box_mm, 128), page, head=False)
    assert refusal(covered, bean_book).reason.code is Code.CODE_UNREADABLE


@needs_tesseract
@pytest.mark.usefixtures("unsure")
def test_tesseract_is_the_second_opinion(
    bean_book: LayoutBook, page: Page, plain: Gray
) -> None:
    view = only_view(find_sheets(painted(plain, page.code_box_mm, 128), bean_book))
    assert view.page.code == page.code
    assert view.identified_by == "printed code"


@pytest.fixture
def hanging(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A Tesseract that never answers."""
    pytesseract = pytest.importorskip("pytesseract")
    program = tmp_path / "tesseract"
    program.write_text("#!/bin/sh\nexec sleep 600\n")
    program.chmod(0o755)
    monkeypatch.setattr(pytesseract.pytesseract, "tesseract_cmd", str(program))
    monkeypatch.setattr(printed_code, "tesseract_available", lambda: True)
    monkeypatch.setattr(printed_code, "_PATIENCE_S", 0.2)


@pytest.mark.usefixtures("unsure", "hanging")
def test_where_tesseract_does_not_answer_the_code_is_not_read_yet(
    bean_book: LayoutBook, page: Page, plain: Gray
) -> None:
    """No other answer comes of it than "later": not that the code is unreadable."""
    answer = refusal(painted(plain, page.code_box_mm, 128), bean_book)
    assert answer.reason.code is Code.TOO_SLOW
    assert only_view(find_sheets(plain, bean_book)).page.code == page.code


@pytest.mark.usefixtures("unsure", "hanging")
def test_a_photo_whose_code_is_not_read_yet_waits_and_is_read_the_next_time(
    bean_book: LayoutBook, page: Page, plain: Gray, monkeypatch: pytest.MonkeyPatch
) -> None:
    study, day = bean_book.study, date(2026, 6, 3)
    encoded = cv2.imencode(".png", painted(plain, page.code_box_mm, 128))[1].tobytes()
    result = read_bytes(encoded, "a.png", study, bean_book, day, default_reader())
    assert (result.status, result.pages) == ("stopped", ()), "as where a picture takes too long"
    assert [reason.code for reason in result.failures] == [Code.TOO_SLOW]
    monkeypatch.setattr(printed_code, "_tesseract", lambda _: printed_text(page.code))
    again = read_bytes(encoded, "a.png", study, bean_book, day, default_reader())
    assert [reason.code for reason in again.failures] == [Code.NOTHING_WRITTEN]


@needs_tesseract
@pytest.mark.usefixtures("unsure")
def test_what_tesseract_misreads_is_not_believed(
    bean_book: LayoutBook, page: Page, plain: Gray, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It may read any other sheet of the study: the print must look like that sheet's."""
    picture = painted(plain, page.code_box_mm, 128)
    for site in bean_book.study.sites:
        code = SheetCode(page.code.study, page.code.layout, site.number, 1)
        monkeypatch.setattr(printed_code, "_tesseract", lambda _, c=code: printed_text(c))
        found = find_sheets(picture, bean_book)[0]
        if code == page.code:
            assert not isinstance(found, NoSheet)
        else:
            assert isinstance(found, NoSheet)


def test_without_tesseract_one_sentence_says_so(
    bean_book: LayoutBook, page: Page, plain: Gray, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in ("printed_code", "find"):
        monkeypatch.setattr(f"sheet_reader.vision.{module}.tesseract_available", lambda: False)
    monkeypatch.setattr(printed_code, "_tesseract", lambda _: pytest.fail("asked"))
    coded = painted(plain, page.code_box_mm, 128)
    assert only_view(find_sheets(coded, bean_book)).page.code == page.code, "by its signs"
    answer = refusal(covered_print(coded, page), bean_book)
    assert answer.reason.code is Code.CODE_UNREADABLE
    assert "Tesseract" in words([answer.reason])
    assert only_view(find_sheets(plain, bean_book)).page.code == page.code
