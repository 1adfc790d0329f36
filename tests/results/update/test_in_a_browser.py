"""The page of an update as Chromium shows and prints it, with the network off."""

from __future__ import annotations

import re
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import pypdfium2 as pdfium
import pytest
from browser import axe_violations, chromium, open_offline  # noqa: F401
from invented_season import OUTLINE, SeasonPlan, make_season

from sheet_reader.results.update.content import make_content
from sheet_reader.results.update.outline import Update
from sheet_reader.results.update.page import render_page

COUNTS = make_season(4, SeasonPlan(sites=10))
UPDATE = Update(
    until=date(2026, 6, 1),
    since=date(2026, 5, 20),
    number=3,
    notes="# Hello\n\nA warm week.\n\n- one\n- two",
    advice=("Lay the sheet flat.",),
    next_dates=(date(2026, 6, 8), date(2026, 6, 15)),
    for_site=str(COUNTS["site"].iloc[0]),
)


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("update") / "update.html"
    path.write_bytes(render_page(make_content(COUNTS, OUTLINE, UPDATE)))
    return path


def _opened(browser: Any, path: Path, asked: list[str], width: int = 1200) -> Any:
    """The page with the tables behind its pictures shown."""
    page = open_offline(browser, path, asked, viewport={"width": width, "height": 800})
    for summary in page.locator("summary").all():
        summary.click()
    return page


def test_axe_finds_nothing_amiss_and_nothing_is_fetched(chromium: Any, page_file: Path) -> None:  # noqa: F811
    asked: list[str] = []
    page = _opened(chromium, page_file, asked)
    assert axe_violations(page) == []
    assert asked == []
    page.context.close()


def test_the_page_fits_a_telephone(chromium: Any, page_file: Path) -> None:  # noqa: F811
    page = _opened(chromium, page_file, [], width=360)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.context.close()


@pytest.mark.parametrize("width", [360, 500])
def test_every_column_of_a_table_can_be_reached(
    chromium: Any, page_file: Path, width: int  # noqa: F811
) -> None:  # fmt: skip
    """It fits, or it scrolls by itself and a shadow at its edge shows that."""
    page = _opened(chromium, page_file, [], width=width)
    tables = page.evaluate("""() => [...document.querySelectorAll('.table')].map(table => {
        const style = getComputedStyle(table)
        return [table.scrollWidth <= table.clientWidth, style.overflowX, style.backgroundImage]
    })""")
    page.context.close()
    assert len(tables) > 5
    assert all(fits for fits, _, _ in tables) or width < 500
    assert all(flow == "auto" and "gradient" in image for _, flow, image in tables)


def test_axe_and_the_list_of_requests_are_in_earnest(
    chromium: Any, page_file: Path, tmp_path: Path  # noqa: F811
) -> None:  # fmt: skip
    bad = tmp_path / "bad.html"
    page = re.sub(r' (role="img"|aria-label="[^"]*")', "", page_file.read_text("utf-8"))
    page = page.replace("#404040", "#bbbbbb").replace("default-src 'none'; ", "")
    picture = '<img src="https://example.org/picture.png">'
    bad.write_text(page.replace("</main>", f"{picture}</main>"), "utf-8")
    asked: list[str] = []
    opened = open_offline(chromium, bad, asked)
    found = axe_violations(opened, "color-contrast", "image-alt", "svg-img-alt")
    assert {line.split(":")[0] for line in found} == {"color-contrast", "image-alt"}
    assert "https://example.org/picture.png" in asked
    opened.context.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_picture_is_cut_in_print(chromium: Any, page_file: Path, paper: str) -> None:  # noqa: F811
    page = _opened(chromium, page_file, [])
    pictures = page.locator("figure").all()
    assert len(pictures) == 4
    texts = [
        [words for words in figure.locator("text").all_text_contents() if words.strip()]
        for figure in pictures
    ]
    captions = [figure.locator("figcaption").inner_text() for figure in pictures]
    tables = [_caption_and_line(table) for table in page.locator("table").all()]
    with pdfium.PdfDocument(page.pdf(format=paper, prefer_css_page_size=False)) as printed:
        pages = [_print_of(sheet) for sheet in printed]
    page.context.close()
    for words, caption in zip(texts, captions, strict=True):
        needed = Counter("".join("".join(words).split()))
        on = [n for n, (text, _) in enumerate(pages) if "".join(caption.split()) in text]
        assert len(on) == 1, f"{caption!r} stands on pages {on}"
        lacking = needed - Counter(pages[on[0]][0])
        assert not lacking, f"the picture above {caption!r} goes on elsewhere: {lacking}"
    assert all(inside for _, inside in pages)
    for caption, first in tables:
        together = [text for text, _ in pages if caption in text and first in text]
        assert together, f"{caption!r} stands on another page than its table"


def _caption_and_line(table: Any) -> tuple[str, str]:
    """Caption and first line of a table without spaces."""
    caption, line = table.locator("caption"), table.locator("tbody tr").first
    return "".join(caption.inner_text().split()), "".join(line.inner_text().split())


def _print_of(sheet: Any) -> tuple[str, bool]:
    """The signs on a printed page without spaces, and whether all of them lie on it."""
    width, height = sheet.get_size()
    text = sheet.get_textpage()
    boxes = [text.get_charbox(n) for n in range(text.count_chars())]
    inside = all(
        0 <= left <= right <= width and 0 <= low <= high <= height
        for left, low, right, high in boxes
    )
    return "".join(text.get_text_range().split()), inside
