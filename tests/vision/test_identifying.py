"""Telling which page it is, and refusing what can't be told."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest
from desk_pictures import Array, Gray, Place, lay, only_view, standing

from sheet_reader.reading.photo import default_reader, read_bytes
from sheet_reader.reasons import Code
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.identity import code_modules, machine_text, printed_text
from sheet_reader.sheet.page import BLANK, Page, SheetCode
from sheet_reader.simulate.no_sheet import older_layout
from sheet_reader.study.study import Study
from sheet_reader.vision import printed_code
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import NoSheet
from sheet_reader.vision.machine_code import Modules, best_candidate, fixed_modules, known_modules
from sheet_reader.wording import words

SCALE = 6.0
PLACE = Place(standing(SCALE, 60, 50, 0.8))


HEAD = (14.0, 14.0, 60.0, 24.0)
"""Where every layout prints the site number in the head, mm."""


@pytest.fixture(scope="module")
def page(bean_book: LayoutBook) -> Page:
    """A site's first page."""
    return bean_book.layout("2043").pages[0]


@pytest.fixture(scope="module")
def plain(bean_book: LayoutBook, page: Page) -> Gray:
    canvas = np.full((1900, 1400), 110, np.uint8)
    lay(canvas, bean_book.template(page, 8.0), page, PLACE)
    return canvas


def corners(box: tuple[float, float, float, float]) -> Array:
    x, y, w, h = box
    return PLACE.to_px(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]))


def painted(picture: Gray, box: tuple[float, float, float, float], grey: int) -> Gray:
    copy = picture.copy()
    cv2.fillConvexPoly(copy, np.rint(corners(box)).astype(np.int32), grey)
    return copy


def with_code(picture: Gray, page: Page, modules: np.ndarray) -> Gray:
    """The picture with another machine code pasted over the printed one."""
    x, y, w, h = page.code_box_mm
    rim = 1.0
    copy = painted(picture, (x - rim, y - rim, w + 2 * rim, h + 2 * rim), 255)
    image = np.kron(np.where(modules, 0, 255), np.ones((12, 12))).astype(np.uint8)
    side = image.shape[0]
    source = np.float32([[0, 0], [side, 0], [side, side], [0, side]]) - 0.5
    matrix = cv2.getPerspectiveTransform(source, corners(page.code_box_mm).astype(np.float32))
    cv2.warpPerspective(image, matrix, copy.shape[::-1], dst=copy, flags=cv2.INTER_AREA,
                        borderMode=cv2.BORDER_TRANSPARENT)  # fmt: skip
    return copy


def with_text(picture: Gray, page: Page, text: str) -> Gray:
    image = cv2.QRCodeEncoder.create().encode(text)
    bare = image[2:-2, 2:-2] if image[0].min() == 255 else image
    return with_code(picture, page, bare < 128)


def refusal(picture: Gray, book: LayoutBook) -> NoSheet:
    found = find_sheets(picture, book)
    assert len(found) == 1
    assert isinstance(found[0], NoSheet), found[0]
    return found[0]


def as_code(code: SheetCode) -> np.ndarray:
    return np.array(code_modules(machine_text(code)))


def covered_print(picture: Gray, page: Page, head: bool = True) -> Gray:
    """The picture with the printed code occluded, and the site number in the head too."""
    x, y, w, h = page.printed_code_box_mm
    covered = painted(picture, (x - 1, y - 1, w + 2, h + 2), 150)
    return painted(covered, HEAD, 150) if head else covered


def other_code(book: LayoutBook, page: Page, number: int) -> SheetCode:
    site = book.study.sites[number].number
    return SheetCode(page.code.study, page.code.layout, site, 1)


def test_where_no_print_can_be_seen_the_pasted_code_is_what_counts(
    bean_book: LayoutBook, page: Page, plain: Gray
) -> None:
    """So the refusals below are refusals of the code, not of the pasting."""
    code = other_code(bean_book, page, 2)
    picture = covered_print(with_code(plain, page, as_code(code)), page)
    assert only_view(find_sheets(picture, bean_book)).page.code == code


@pytest.mark.parametrize("what_is_left", ["both", "printed code", "head"])
def test_a_code_of_another_site_over_the_own_one_is_never_believed(
    bean_book: LayoutBook, page: Page, plain: Gray, what_is_left: str
) -> None:
    picture = plain
    if what_is_left == "printed code":
        picture = painted(plain, HEAD, 255)
    elif what_is_left == "head":
        picture = covered_print(plain, page, head=False)
    for number, site in enumerate(bean_book.study.sites):
        if site.number != page.code.sheet:
            code = other_code(bean_book, page, number)
            answer = refusal(with_code(picture, page, as_code(code)), bean_book)
            assert answer.reason.code is Code.TWO_SHEETS
            assert f"the square code says site {site.number}" in words([answer.reason])
            assert "but site 2043 is printed on this sheet" in words([answer.reason])


def test_a_sites_code_on_a_blank_sheet_and_the_reverse(
    bean_book: LayoutBook, page: Page, plain: Gray
) -> None:
    blank = bean_book.layout(BLANK, page.code.layout).pages[0]
    answer = refusal(with_code(plain, page, as_code(blank.code)), bean_book)
    assert "the square code says blank sheet, but site 2043 is printed" in words([answer.reason])
    canvas = np.full((1900, 1400), 110, np.uint8)
    lay(canvas, bean_book.template(blank, 8.0), blank, PLACE)
    answer = refusal(with_code(canvas, blank, as_code(page.code)), bean_book)
    assert "the square code says site 2043, but blank sheet is printed" in words([answer.reason])


def test_the_own_code_and_print_agree_on_every_sheet(bean_book: LayoutBook) -> None:
    for sheet in (BLANK, *(site.number for site in bean_book.study.sites)):
        own = bean_book.layout(sheet).pages[0]
        canvas = np.full((1900, 1400), 110, np.uint8)
        lay(canvas, bean_book.template(own, 8.0), own, PLACE)
        blurred = np.asarray(cv2.GaussianBlur(canvas, (0, 0), 3.0), np.uint8)
        assert only_view(find_sheets(blurred, bean_book)).page.code == own.code


@pytest.mark.parametrize(
    ("change", "code", "said"),
    [
        ({"study": "moths"}, Code.OTHER_STUDY, "another study"),
        ({"layout": "AAAA"}, Code.OLDER_LAYOUT, "another version"),
        ({"sheet": "999991"}, Code.UNKNOWN_SITE, "999991"),
        ({"page": 7}, Code.NO_SUCH_PAGE, "page 7"),
    ],
)
def test_sheets_that_are_not_in_the_book(
    bean_book: LayoutBook, page: Page, plain: Gray, change: dict[str, object], code: Code, said: str
) -> None:
    fields = {"study": page.code.study, "layout": page.code.layout, "sheet": "2043", "page": 1}
    own = SheetCode(**{**fields, **change})  # type: ignore[arg-type]
    answer = refusal(with_code(plain, page, as_code(own)), bean_book)
    assert answer.reason.code is code
    assert said in words([answer.reason])


def test_markers_and_code_that_contradict_each_other(pool_book: LayoutBook) -> None:
    first, second = pool_book.layout().pages
    canvas = np.full((1800, 1450), 110, np.uint8)
    lay(canvas, pool_book.template(first, 8.0), first, PLACE)
    answer = refusal(with_code(canvas, first, as_code(second.code)), pool_book)
    assert answer.reason.code is Code.MARKS_DIFFER
    assert "different pages" in words([answer.reason])


@pytest.mark.parametrize(
    "text",
    ["S1/BEAN-TIPS/../../ETC/1/AAAAA", "'; DROP TABLE SHEETS; --", "HTTPS://EXAMPLE.ORG/X"],
)
def test_hostile_text_in_the_code_is_refused_cleanly(
    bean_book: LayoutBook, page: Page, plain: Gray, text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sheet_reader.vision.find.read_printed", lambda *_: None)
    answer = refusal(with_text(plain, page, text), bean_book)
    assert answer.reason.code is Code.FOREIGN_CODE
    assert text not in words([answer.reason])


@pytest.mark.parametrize("corner", [(0.0, 0.0), (15.0, 0.0), (0.0, 15.0)])
def test_a_hidden_finder_pattern_does_no_harm(
    bean_book: LayoutBook, page: Page, plain: Gray, corner: tuple[float, float]
) -> None:
    x, y, _, _ = page.code_box_mm
    picture = painted(plain, (x + corner[0] - 1, y + corner[1] - 1, 9.5, 9.5), 150)
    view = only_view(find_sheets(picture, bean_book))
    assert view.page.code == page.code
    assert view.identified_by == "machine code"


def _modules(code: SheetCode, wrong: float, seen: float = 1.0) -> Modules:
    rng = np.random.default_rng(3)
    dark = as_code(code)
    flipped = dark ^ (rng.random(dark.shape) < wrong)
    return Modules(np.where(flipped, 1.0, -1.0), rng.random(dark.shape) < seen)


def test_a_code_with_an_eighth_of_its_modules_wrong_is_told_among_the_studys(
    bean_book: LayoutBook,
) -> None:
    for sheet in (BLANK, *(s.number for s in bean_book.study.sites)):
        code = SheetCode(bean_book.study.key, bean_book.version, sheet, 1)
        assert best_candidate(_modules(code, 0.12), bean_book, 1) == code
        assert best_candidate(_modules(code, 0.08, 0.5), bean_book, 1) == code


def test_codes_of_no_sheet_of_the_study_are_not_taken_for_one(bean_book: LayoutBook) -> None:
    key, version = bean_book.study.key, bean_book.version
    foreign = [SheetCode(key, version, f"{n:04d}", 1) for n in range(0, 10000, 41)]
    foreign += [SheetCode(key, "AAAA", s.number, 1) for s in bean_book.study.sites]
    foreign += [SheetCode("moths", version, s.number, 1) for s in bean_book.study.sites]
    known = {s.number for s in bean_book.study.sites}
    for code in foreign:
        if code.sheet not in known or code.layout != version or code.study != key:
            assert best_candidate(_modules(code, 0.0), bean_book, 1) is None
    assert best_candidate(_modules(foreign[0], 0.5), bean_book, 1) is None


def test_fixed_modules_are_those_that_all_codes_share(bean_book: LayoutBook) -> None:
    """ISO/IEC 18004: finder, timing and alignment patterns are the same in every symbol."""
    code = SheetCode(bean_book.study.key, bean_book.version, "2043", 1)
    blank, other = known_modules(bean_book, 1), as_code(code)
    fixed = fixed_modules(len(blank))
    fixed[8, :] = fixed[:, 8] = False
    assert (blank == other)[fixed].all()
    assert (blank == other)[~fixed].mean() < 0.9


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
    coded = painted(plain, page.code_box_mm, 128)
    assert only_view(find_sheets(coded, bean_book)).page.code == page.code, "by its signs"
    answer = refusal(covered_print(coded, page), bean_book)
    assert answer.reason.code is Code.CODE_UNREADABLE
    assert "Tesseract" in words([answer.reason])
    assert only_view(find_sheets(plain, bean_book)).page.code == page.code


def test_a_code_outside_the_picture_is_named(
    bean_book: LayoutBook, plain: Gray, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sheet_reader.vision.find.read_printed", lambda *_: None)
    answer = refusal(np.ascontiguousarray(plain[:, :1100]), bean_book)
    assert answer.reason.code is Code.CODE_OUTSIDE
    assert "right edge is outside the picture" in words([answer.reason])


def test_one_marker_is_too_few(bean_book: LayoutBook, page: Page, plain: Gray) -> None:
    x, y = PLACE.to_px(np.array([page.markers[0].corners_mm[2]]))[0]
    answer = refusal(np.ascontiguousarray(plain[: round(y) + 30, : round(x) + 30]), bean_book)
    assert answer.reason.code is Code.TOO_FEW_MARKERS
    assert "whole sheet" in words([answer.reason])


def test_a_blurred_picture_is_told_from_a_picture_of_something_else(
    bean_book: LayoutBook, plain: Gray
) -> None:
    blurred = np.asarray(cv2.GaussianBlur(plain, (0, 0), 25), np.uint8)
    assert refusal(blurred, bean_book).reason.code is Code.BLURRED
    noise = np.random.default_rng(1).integers(0, 255, (900, 700)).astype(np.uint8)
    assert refusal(noise, bean_book).reason.code is Code.NO_SHEET


def test_another_studys_sheet_gives_nothing(bean_book: LayoutBook, pool_book: LayoutBook) -> None:
    page = pool_book.layout().pages[0]
    canvas = np.full((1800, 1450), 110, np.uint8)
    lay(canvas, pool_book.template(page, 8.0), page, PLACE)
    answer = refusal(canvas, bean_book)
    assert answer.reason.code is Code.OTHER_STUDY
    assert "rock-pools" in words([answer.reason])
    assert isinstance(bean_book.study, Study)
