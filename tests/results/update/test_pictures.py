"""Pictures: text as text, ids of their own, the same bytes each time."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pypdfium2 as pdfium
import pytest
from invented_season import OUTLINE, SeasonPlan, make_season

from sheet_reader.results.update.canvas import (
    ALL_PLOTS,
    GREY,
    INK,
    PALE,
    STAGES,
    STYLES,
    Drawing,
    spread,
)
from sheet_reader.results.update.comparison import compare
from sheet_reader.results.update.outline import Named, Update
from sheet_reader.results.update.pictures import draw_pairs, draw_sites, draw_stages, draw_weeks
from sheet_reader.results.update.sections import UpdateData, UpdateWords
from sheet_reader.results.update.weeks import site_weeks, stage_shares, weekly_means

_COUNTS = make_season(4, SeasonPlan(sites=8))
_OWN = str(_COUNTS["site"].iloc[0])
_DATA = UpdateData(_COUNTS, OUTLINE, Update(date(2026, 8, 30), for_site=_OWN), UpdateWords())


def _pairs(alt: str = "alt") -> Drawing:
    found = compare(_COUNTS, OUTLINE, reading_errors=False)
    return draw_pairs(found.sites, 0.6, found.typical, _DATA, alt)


def _weeks() -> Drawing:
    own = weekly_means(_COUNTS[_COUNTS["site"] == _OWN], OUTLINE, "blackfly")
    return draw_weeks(weekly_means(_COUNTS, OUTLINE, "blackfly"), _DATA, "alt", own)


def _sites() -> Drawing:
    cells = site_weeks(_COUNTS, OUTLINE, "blackfly")
    weeks = sorted(cells["week"].unique())
    return draw_sites(cells, weeks, _DATA, "alt", "sites-1", 5.0, numbers=True)


def _stages() -> Drawing:
    return draw_stages(stage_shares(_COUNTS, OUTLINE), _DATA, "alt")


_ALL = {"pairs": _pairs, "weeks": _weeks, "sites-1": _sites, "stages": _stages}


@pytest.mark.parametrize("name", list(_ALL))
def test_text_stays_text_and_ids_are_their_own(name: str) -> None:
    drawing = _ALL[name]()
    root = ElementTree.fromstring(drawing.svg)
    assert root.get("role") == "img"
    assert root.get("aria-label") == "alt"
    assert "<image" not in drawing.svg
    texts = [t.text or "" for t in root.iter("{http://www.w3.org/2000/svg}text")]
    assert len(texts) > 5
    ids = re.findall(r'\bid="([^"]*)"', drawing.svg)
    assert ids
    assert all(i.startswith(f"{name}-") for i in ids)
    used = re.findall(r'(?:href="#|url\(#)([^")]*)', drawing.svg)
    assert set(used) <= set(ids)


@pytest.mark.parametrize("name", list(_ALL))
def test_a_picture_is_the_same_bytes_each_time(name: str) -> None:
    assert _ALL[name]() == _ALL[name]()


@pytest.mark.parametrize("name", list(_ALL))
def test_nothing_is_cut_at_the_edge(name: str) -> None:
    """A rim of 2 points stays white in the printed form."""
    page = pdfium.PdfDocument(_ALL[name]().pdf)[0]
    grey = page.render(scale=2).to_numpy().min(axis=2)
    rim = np.concatenate([grey[:3].ravel(), grey[-3:].ravel(), grey[:, :3].ravel(),
                          grey[:, -3:].ravel()])  # fmt: skip
    assert rim.min() == 255
    assert grey.min() < 100


def test_the_picture_names_what_it_shows() -> None:
    svg = _pairs().svg
    for text in ("Pinched half", "Other half", "typical site", "your site", "fewer: "):
        assert text in svg


def _marks(svg: str, colour: str) -> int:
    return svg.count(f"stroke: {colour}") + svg.count(f"fill: {colour}")


def test_a_colour_belongs_to_one_thing_on_all_pictures() -> None:
    """Plots have their colours; all plots together and stages have none of them."""
    treated, control = (style.colour for style in STYLES[:2])
    for picture in (_pairs(), _weeks(), _stages()):
        assert _marks(picture.svg, treated)
        assert _marks(picture.svg, control)
    sites = _sites().svg
    assert not any(style.colour in sites for style in STYLES)
    shades = [*ALL_PLOTS, *STAGES]
    assert len({*shades, INK, GREY, *(style.colour for style in STYLES)}) == len(shades) + 8
    lines = re.findall(r"fill: none; [^\"]*stroke: (#\w+)", _pairs().svg)
    assert set(lines) <= {INK, GREY, PALE}


def test_sites_without_a_find_in_a_plot_have_a_dot_in_the_other_and_are_told() -> None:
    found = compare(_COUNTS, OUTLINE, reading_errors=False)
    sites = found.sites.copy()
    columns = ["value_treated", "density_treated", "ratio"]
    sites.loc[:1, columns] = 0.0
    sites.loc[:1, "density_control"] = 1.0
    svg = draw_pairs(sites, 0.6, found.typical, _DATA, "alt").svg
    assert "none found at 2 sites" in svg
    own = replace(_DATA, update=replace(_DATA.update, for_site=str(sites["site"].iloc[0])))
    assert "× your site: 0" in draw_pairs(sites, 0.6, found.typical, own, "alt").svg
    assert "none found" not in _pairs().svg
    assert svg.count('<path d="M ') < _pairs().svg.count('<path d="M ')


def test_axes_say_logarithm_and_mean() -> None:
    assert "colonies per plant (logarithmic scale)" in _pairs().svg
    assert "colonies per plant, mean over sites" in _weeks().svg


def test_an_alternative_text_cannot_break_out() -> None:
    root = ElementTree.fromstring(_pairs('a "b" <script> & c').svg)
    assert root.get("aria-label") == 'a "b" <script> & c'


def test_styles_differ_in_grey_too() -> None:
    """The first two plots: at least 20 of 100 apart in lightness (L*), and by sign and line."""
    first, second = STYLES[:2]
    assert first.marker != second.marker
    assert first.line != second.line

    def lightness(colour: str) -> float:
        channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 116 * float(np.dot(linear, [0.2126, 0.7152, 0.0722])) ** (1 / 3) - 16

    assert abs(lightness(first.colour) - lightness(second.colour)) > 20


def test_labels_are_moved_apart() -> None:
    moved = spread([1.0, 1.0, 1.1, 5.0], 0.5)
    assert np.diff(sorted(moved)).min() >= 0.5 - 1e-6
    assert moved[3] == 5.0


def test_a_name_in_another_script_is_drawn_without_complaint() -> None:
    named = _COUNTS.assign(site_name=pd.Series(["庭園"] * len(_COUNTS), dtype="string"))
    cells = site_weeks(named, OUTLINE, "blackfly")
    weeks = sorted(cells["week"].unique())
    assert "庭園" in draw_sites(cells, weeks, _DATA, "alt", "s", 5.0, numbers=False).svg


def test_a_dollar_sign_is_a_dollar_sign() -> None:
    priced = replace(OUTLINE, count=Named("blackfly", "$a_b$"))
    data = replace(_DATA, outline=priced)
    svg = draw_weeks(weekly_means(_COUNTS, OUTLINE, "blackfly"), data, "alt").svg
    assert "$a_b$ per plant" in svg
