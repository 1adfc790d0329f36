"""Telling which page it is, and refusing what can't be told."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from desk_pictures import (
    HEAD,
    PLACE,
    Gray,
    corners,
    covered_print,
    lay,
    only_view,
    painted,
    refusal,
)

from sheet_reader.reasons import Code
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.identity import code_modules, machine_text
from sheet_reader.sheet.page import BLANK, Page, SheetCode
from sheet_reader.study.study import Study
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.machine_code import Modules, best_candidate, fixed_modules, known_modules
from sheet_reader.wording import words


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


def as_code(code: SheetCode) -> np.ndarray:
    return np.array(code_modules(machine_text(code)))


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
