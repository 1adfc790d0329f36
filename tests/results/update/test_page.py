"""The page and the PDF of an update."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import IO, Any

import numpy as np
import pandas as pd
import pypdfium2 as pdfium
import pytest
from invented_season import OUTLINE, SeasonPlan, make_season
from matplotlib.figure import Figure

from sheet_reader.errors import UsageError
from sheet_reader.results.update.content import make_content
from sheet_reader.results.update.outline import Named, Outline, Update
from sheet_reader.results.update.page import render_page
from sheet_reader.results.update.printed import render_pdf
from sheet_reader.results.update.sections import Content, Note, parse_notes
from sheet_reader.study.words import shipped_texts

COUNTS = make_season(4, SeasonPlan(sites=12))
FIRST = str(COUNTS["site"].iloc[0])
UPDATE = Update(
    until=date(2026, 6, 1),
    since=date(2026, 5, 20),
    number=3,
    notes="# Hello\n\nbeans are <b>high</b>\n\n- one\n- two",
    advice=("Lay the sheet flat.",),
    next_dates=(date(2026, 6, 8), date(2026, 6, 15)),
)


def _content(update: Update = UPDATE, outline: Outline = OUTLINE,
             counts: pd.DataFrame = COUNTS) -> Content:  # fmt: skip
    return make_content(counts, outline, update)


@cache
def _usual() -> Content:
    """What most tests look at; nothing in it can be changed."""
    return _content()


@cache
def _page() -> str:
    return render_page(_usual()).decode("utf-8")


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests of texts: figures are made as always, and written as empty pictures."""

    def savefig(_: Figure, file: IO[Any], *, format: str, metadata: object) -> None:
        del metadata
        file.write("<svg viewBox='0 0 1 1'></svg>" if format == "svg" else b"")

    monkeypatch.setattr(Figure, "savefig", savefig)


def _texts(content: Content, key: str) -> str:
    section = next(s for s in content.sections if s.key == key)
    parts = (section.strong, *section.texts, *section.items, *section.fine)
    return "\n".join(parts).replace("\u00a0", " ")


class _Outside(HTMLParser):
    """Collects everything in a page that would fetch or run something."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "link", "img", "iframe", "object", "image"):
            self.found.append(tag)
        for name, value in attrs:
            if name.startswith("on") or (
                name in ("src", "href", "xlink:href") and not (value or "").startswith("#")
            ):
                self.found.append(f"{tag} {name}={value}")


def test_the_page_fetches_nothing_and_runs_nothing() -> None:
    page = _page()
    outside = _Outside()
    outside.feed(page)
    assert outside.found == []
    assert "default-src 'none'" in page
    assert "@import" not in page
    assert not re.search(r"url\((?!#)", page)


def test_every_id_is_there_once() -> None:
    ids = re.findall(r'\bid="([^"]*)"', _page())
    assert len(ids) == len(set(ids)) > 10


@pytest.mark.usefixtures("undrawn")
def test_the_page_has_what_an_update_needs() -> None:
    keys = [section.key for section in _content(replace(UPDATE, for_site=FIRST)).sections]
    assert keys == [
        "in", "thanks", "your-site", "comparison", "weeks", "stages", "open", "advice", "next",
    ]  # fmt: skip


def test_what_came_in_since_the_last_update_and_in_all() -> None:
    counts = COUNTS[COUNTS["visit_date"] <= "2026-06-01"]
    new = counts[counts["visit_date"] > "2026-05-20"].drop_duplicates(["site", "visit_date"])
    every = counts.drop_duplicates(["site", "visit_date"])
    text = _texts(_usual(), "in")
    assert f"{len(new)} visits from {new['site'].nunique()} sites" in text
    assert f"{len(every)} visits from 12 sites" in text


@pytest.mark.usefixtures("undrawn")
def test_a_sheet_that_came_late_is_new() -> None:
    old = COUNTS[COUNTS["visit_date"] < "2026-05-10"]
    late = old.assign(arrived=pd.Timestamp("2026-05-25"))
    assert "0 visits" not in _texts(_content(counts=late), "in")
    assert "Nothing new" in _texts(_content(counts=old), "in")


@pytest.mark.usefixtures("undrawn")
def test_visits_after_the_day_are_left_out() -> None:
    early = _content(replace(UPDATE, until=date(2026, 5, 3), since=None))
    known = COUNTS[COUNTS["visit_date"] <= "2026-05-03"].drop_duplicates(["site", "visit_date"])
    assert f"{len(known)} visits" in _texts(early, "in")


@pytest.mark.usefixtures("undrawn")
def test_the_main_sentence_gives_figure_range_and_sites() -> None:
    content = _content(counts=make_season(4))
    assert re.search(
        r"About \d+ % fewer .* between \d+ % fewer and \d+ % fewer; 30 sites with a find",
        _texts(content, "comparison"),
    )
    assert "wide enough for 6 looks" in _texts(content, "comparison")


@pytest.mark.usefixtures("undrawn")
def test_few_sites_get_no_figure() -> None:
    counts = make_season(4, SeasonPlan(sites=4))
    content = _content(counts=counts)
    assert "%" not in next(s for s in content.sections if s.key == "comparison").strong
    assert "4 sites" in _texts(content, "comparison")
    assert "before 6 sites" in _texts(content, "open")


def test_what_is_open_names_waiting_values_and_reading_errors() -> None:
    text = _texts(_usual(), "open")
    assert "wait for a person" in text or "waits for a person" in text
    assert "1 in 1000" in text
    assert "percentage points" in text


@pytest.mark.usefixtures("undrawn")
def test_places_are_thanked_and_people_only_if_they_allowed_it() -> None:
    assert "Thank you for counting at" in _texts(_usual(), "thanks")
    assert "Kim" not in _page()
    assert "Thank you, Kim and Sam." in _texts(
        _content(replace(UPDATE, people=("Kim", "Sam"))), "thanks"
    )


@pytest.mark.usefixtures("undrawn")
def test_the_own_site_never_shows_a_zero_for_what_is_not_recorded() -> None:
    mine = (COUNTS["site"] == FIRST) & (COUNTS["count"] == "blackfly")
    status = COUNTS["status"].mask(mine, "empty")
    counts = COUNTS.assign(status=status, value=COUNTS["value"].mask(mine))
    content = _content(replace(UPDATE, for_site=FIRST), counts=counts)
    section = next(s for s in content.sections if s.key == "your-site")
    assert {row[2] for row in section.tables[0].rows} == {"–"}


def _own(counts: pd.DataFrame, language: str = "en") -> Content:
    update = replace(UPDATE, for_site=FIRST)
    return make_content(counts, OUTLINE, update, dict(shipped_texts("update", language)))


def _pictures(content: Content) -> list[str]:
    return [picture.name for section in content.sections for picture in section.pictures]


@pytest.mark.parametrize(
    ("language", "looked", "none"),
    [
        ("en", "You looked 6 times and found none", "None found so far"),
        ("de", "Sie haben 6-mal nachgesehen und nichts gefunden", "Bisher ist nichts gefunden"),
        ("es", "Ha mirado 6 veces y no ha encontrado nada", "no se ha encontrado nada"),
    ],
)
def test_a_season_of_zeros_has_no_picture_and_says_why(
    language: str, looked: str, none: str
) -> None:
    zeros = COUNTS.assign(value=COUNTS["value"].where(COUNTS["value"].isna(), 0))
    content = _own(zeros, language)
    assert _pictures(content) == []
    assert looked in _texts(content, "your-site")
    assert none in _texts(content, "weeks")
    assert render_pdf(content).startswith(b"%PDF")


@pytest.mark.usefixtures("undrawn")
def test_where_nothing_can_be_said_the_comparison_has_no_picture() -> None:
    content = _own(COUNTS[COUNTS["site"].isin(COUNTS["site"].unique()[:5])])
    assert "pairs" not in _pictures(content)
    assert "weeks" in _pictures(content)
    assert "no picture of the comparison" in _texts(content, "comparison")


@pytest.mark.usefixtures("undrawn")
def test_one_site_in_the_singular() -> None:
    content = _own(COUNTS[COUNTS["site"] == FIRST])
    assert "so far 1 site has counts" in _texts(content, "comparison")
    assert "from 1 site," in _texts(content, "in")
    assert "Yours is the first site of all" in _texts(content, "your-site")
    assert "Half of all sites" not in _texts(content, "your-site")


@pytest.mark.usefixtures("undrawn")
def test_the_own_site_is_told_what_it_did() -> None:
    mine = COUNTS[(COUNTS["site"] == FIRST) & (COUNTS["count"] == "blackfly")]
    mine = mine[mine["visit_date"] <= "2026-06-01"]
    found = int(mine["value"].fillna(0).sum())
    text = _texts(_own(COUNTS), "your-site")
    assert f"You looked {mine['visit_date'].nunique()} times and counted {found} in all" in text
    assert "Yours is one of the 12 sites" in text


def test_the_own_number_is_the_same_in_text_and_picture() -> None:
    """A value without its partner takes no part in either."""
    mine = (COUNTS["site"] == FIRST) & (COUNTS["count"] == "blackfly")
    first = COUNTS.loc[mine, "visit_date"].min()
    lost = mine & (COUNTS["visit_date"] == first) & (COUNTS["plot"] == OUTLINE.control)
    alone = mine & (COUNTS["visit_date"] == first) & (COUNTS["plot"] == OUTLINE.treated)
    counts = COUNTS.assign(
        value=COUNTS["value"].mask(lost).mask(alone, 400),
        status=COUNTS["status"].mask(lost, "empty").mask(alone, "typed"),
    )
    content = _own(counts)
    picture = next(s for s in content.sections if s.key == "comparison").pictures[0]
    name = counts.loc[mine, "site_name"].iloc[0]
    row = next(row for row in picture.table.rows if row[0] == name) if picture.table else ()
    told = re.search(r"Pinched half: on average ([\d.]+) ", _texts(content, "your-site"))
    assert told
    assert told[1] == row[3]
    assert f"\n{told[1]}" in "\n".join(re.findall(r">([^<>]+)</t", picture.drawing.svg))


@pytest.mark.usefixtures("undrawn")
def test_a_site_without_sheets() -> None:
    assert "Nothing has come in" in _texts(_content(replace(UPDATE, for_site="9999")), "your-site")


def test_an_empty_study_makes_a_page() -> None:
    content = _content(counts=COUNTS.iloc[:0])
    assert "No counts have come in yet" in _texts(content, "in")
    assert render_page(content)
    assert render_pdf(content).startswith(b"%PDF")


@pytest.mark.usefixtures("undrawn")
def test_a_study_that_compares_nothing_makes_a_page() -> None:
    outline = replace(OUTLINE, treated="", control="", effort=None, stages=())
    keys = [section.key for section in _content(outline=outline).sections]
    assert "comparison" not in keys
    assert "weeks" in keys


def test_nothing_from_outside_becomes_markup() -> None:
    evil = '<script>alert(1)</script>"&'
    counts = COUNTS.assign(site_name=pd.Series([evil] * len(COUNTS), dtype="string"))
    outline = replace(OUTLINE, title=evil, plots=(Named("pinched", evil), OUTLINE.plots[1]))
    update = replace(UPDATE, notes=evil, advice=(evil,), people=(evil,), for_site=FIRST)
    content = make_content(counts, outline, update, {"footer": evil})
    page = render_page(content).decode("utf-8")
    outside = _Outside()
    outside.feed(page)
    assert outside.found == []
    assert render_pdf(content).startswith(b"%PDF")


def test_the_same_input_gives_the_same_bytes() -> None:
    first, second = _content(), _content()
    assert render_page(first) == render_page(second)
    assert render_pdf(first) == render_pdf(second)


def test_every_picture_has_its_numbers_as_a_table() -> None:
    for section in _usual().sections:
        for picture in section.pictures:
            assert picture.table is not None
            assert picture.table.rows
            assert {len(row) for row in picture.table.rows} == {len(picture.table.header)}
            assert re.search(r"\d", picture.alt)


def test_notes_are_plain() -> None:
    assert parse_notes("# A\ntext\nmore\n\n- one\n  and on\n- two\nend?") == (
        Note("heading", ("A",)),
        Note("text", ("text more",)),
        Note("list", ("one and on", "two end?")),
    )
    assert parse_notes("  \n") == ()
    assert "beans are &lt;b&gt;high&lt;/b&gt;" in _page()


def test_own_templates_come_first(tmp_path: Path) -> None:
    (tmp_path / "table.html").write_text("<p>no tables: {{ table.caption }}</p>", "utf-8")
    page = render_page(_usual(), tmp_path).decode("utf-8")
    assert "no tables: What was counted so far" in page
    assert "<table" not in page


@pytest.mark.parametrize(
    "mistake",
    [
        "{{ content.nothing_like_it }}",
        "{% if %}",
        "{{ content.__class__.__mro__ }}",
        "{{ 1 / 0 }}",
        "{% include 'absent.html' %}",
        "{{ svg() }}",
    ],
)
def test_a_mistake_in_a_template_is_told_with_its_place(tmp_path: Path, mistake: str) -> None:
    (tmp_path / "table.html").write_text(f"first line\n{mistake}\n", "utf-8")
    with pytest.raises(UsageError, match="a template of the update has a mistake") as caught:
        render_page(_usual(), tmp_path)
    assert str(tmp_path) in str(caught.value)


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_the_pdf_has_text_and_pictures(paper: str, size: tuple[int, int]) -> None:
    with pdfium.PdfDocument(render_pdf(_usual(), paper)) as document:  # type: ignore[arg-type]
        assert tuple(round(side) for side in document[0].get_size()) == size
        text = "\n".join(page.get_textpage().get_text_range() for page in document)
    assert "What the comparison shows so far" in text
    assert "typical site" in text
    assert "The accessible form of this update is its HTML page." in text


@pytest.mark.parametrize("sites", [12, 50])
def test_no_page_of_the_pdf_is_half_empty(sites: int) -> None:
    counts = make_season(4, SeasonPlan(sites=sites))
    with pdfium.PdfDocument(render_pdf(_own(counts))) as document:
        full = [_filled(page) for page in document]
    assert min(full[:-1]) > 0.6


def test_a_long_text_begins_below_its_heading() -> None:
    names = ", ".join(f"Orchard corner {n}" for n in range(300))
    first, thanks = _usual().sections[:2]
    content = replace(_usual(), sections=(first, replace(thanks, texts=(names,))))
    with pdfium.PdfDocument(render_pdf(content)) as document:
        assert _filled(document[0]) > 0.9


def _filled(page: pdfium.PdfPage) -> float:
    """The share of the height between the margins that something stands on."""
    grey = page.render(scale=0.5).to_numpy().min(axis=2)
    top, bottom = 24, grey.shape[0] - 24
    dark = np.flatnonzero(grey[top:bottom].min(axis=1) < 200)
    return float(dark.max() + 1) / (bottom - top)


@pytest.mark.skipif(shutil.which("pdffonts") is None, reason="poppler-utils is not installed")
def test_poppler_has_nothing_to_complain_of(tmp_path: Path) -> None:
    path = tmp_path / "update.pdf"
    path.write_bytes(render_pdf(_own(COUNTS)))
    drawn = ["pdftoppm", "-r", "20", str(path), str(tmp_path / "page")]
    for command in (["pdffonts", str(path)], ["pdftotext", str(path), "-"], drawn):
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        assert done.stderr == ""
    listed = subprocess.run(["pdffonts", str(path)], capture_output=True, text=True, check=True)
    lines = listed.stdout.splitlines()[2:]
    assert lines
    assert all(line.split()[-5] == "yes" for line in lines), listed.stdout  # embedded


def test_an_outline_with_a_plot_that_is_not_in_the_frame() -> None:
    with pytest.raises(UsageError, match="no plot named mulched"):
        _content(outline=replace(OUTLINE, treated="mulched"))
