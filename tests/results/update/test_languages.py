"""A whole update in each language that ships: none of our English is left in it."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from invented_season import OUTLINE, SeasonPlan, make_season

from sheet_reader.results.update.content import make_content
from sheet_reader.results.update.outline import Update
from sheet_reader.results.update.page import render_page
from sheet_reader.study.reader import read_study
from sheet_reader.study.words import shipped_texts

SAMPLE = Path(__file__).parents[3] / "samples" / "bean_tips"
COUNTS = make_season(4, SeasonPlan(sites=8))
ENGLISH_WORDS = re.compile(
    r"\b(the|and|between|fewer|more|sites?|visits?|values?|weeks?|counts?|of|with|your)\b",
    re.IGNORECASE,
)


def page(language: str, sites: int = 8) -> str:
    counts = COUNTS[COUNTS["site"].isin(COUNTS["site"].unique()[:sites])]
    update = Update(
        until=date(2026, 6, 1), since=date(2026, 5, 20), number=2,
        next_dates=(date(2026, 6, 8), date(2026, 6, 15)), for_site=str(COUNTS["site"].iloc[0]),
    )  # fmt: skip
    outline = replace(OUTLINE, title="Bohnen")
    made = make_content(counts, outline, update, dict(shipped_texts("update", language)))
    return render_page(made).decode("utf-8")


@pytest.mark.parametrize(("language", "sites"), [("de", 8), ("es", 8), ("de", 3)])
def test_no_english_is_left(language: str, sites: int) -> None:
    text = page(language, sites)
    assert f'<html lang="{language}">' in text
    body = re.sub(r"<style>.*?</style>|<!--.*?-->", " ", text, flags=re.DOTALL)
    labels = [label for _, label in _named()]
    pieces = re.findall(r'>([^<]+)<|aria-label="([^"]+)"', body)
    told = " ".join(shown or named for shown, named in pieces)
    assert len(told) > 1000
    for label in sorted({*labels, *COUNTS["site_name"]}, key=len, reverse=True):
        told = told.replace(label, "")
    assert set(map(str.lower, ENGLISH_WORDS.findall(told))) == set()


def _named() -> list[tuple[str, str]]:
    parts = (*OUTLINE.plots, *OUTLINE.stages, OUTLINE.count, OUTLINE.effort)
    return [(part.name, part.label) for part in parts if part is not None]


def test_the_study_chooses_the_language_and_its_own_words_go_first(tmp_path: Path) -> None:
    text = (SAMPLE / "study.toml").read_text("utf-8")
    (tmp_path / "sites.csv").write_bytes((SAMPLE / "sites.csv").read_bytes())
    own = '[words]\nlanguage = "es"\n[words.update]\nfewer = "{by} por debajo"\n'
    (tmp_path / "study.toml").write_text(f"{text}\n{own}", "utf-8")
    words = dict(read_study(tmp_path).update_words)
    assert words["language"] == "es"
    assert words["fewer"] == "{by} por debajo"
    assert words["heading_thanks"] == "Gracias"
    (tmp_path / "study.toml").write_text(text.replace("paper =", 'words = "de"\npaper ='), "utf-8")
    assert dict(read_study(tmp_path).update_words)["heading_thanks"] == "Danke"
