"""The table of words and its numbers."""

from __future__ import annotations

from datetime import date

import pytest

from sheet_reader.results.update.sections import UpdateWords
from sheet_reader.study.words import ENGLISH_UPDATE as ENGLISH
from sheet_reader.study.words import (
    LONGEST_TEXT,
    languages,
    placeholders,
    shipped_table,
    shipped_texts,
)


def test_a_study_can_replace_a_text() -> None:
    words = UpdateWords({"n_sites": "{n} Ort|{n} Orte", "decimal_point": ","})
    assert words.count("n_sites", 1) == "1 Ort"
    assert words.count("n_sites", 3) == "3 Orte"
    assert words.number(0.4213) == "0,42"
    assert words("per_visit") == ENGLISH["per_visit"]


def test_nothing_but_names_is_filled_in() -> None:
    words = UpdateWords({"per": "per {effort} {effort.__class__} {effort[0]}"})
    assert words("per", effort="plant") == "per plant {effort.__class__} {effort[0]}"


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0"), (0.304, "0.30"), (0.0831, "0.083"), (1.04, "1.0"), (12.3, "12"), (1234.0, "1234")],
)
def test_numbers_have_two_significant_digits(value: float, text: str) -> None:
    assert UpdateWords().number(value) == text


@pytest.mark.parametrize(
    ("ratio", "text"),
    [(0.6, "40 % fewer"), (1.124, "12 % more"), (3.1, "210 % more"), (1.004, "the same")],
)
def test_ratios_in_words(ratio: float, text: str) -> None:
    assert UpdateWords().change(ratio).replace("\u00a0", " ") == text


def test_dates_and_lists() -> None:
    words = UpdateWords()
    assert words.day(date(2026, 5, 3)) == "3 May 2026"
    assert words.day(date(2026, 5, 3), short=True) == "3 May"
    assert words.listed([]) == ""
    assert words.listed(["a", "b", "c"]) == "a, b and c"


@pytest.mark.parametrize(
    ("language", "none", "one"),
    [("en", "no sites", "1 site"), ("de", "kein Ort", "1 Ort"), ("es", "ningún lugar", "1 lugar")],
)
def test_none_and_one_in_words(language: str, none: str, one: str) -> None:
    words = UpdateWords(shipped_texts("update", language))
    assert words.count("n_sites", 0) == none
    assert words.count("n_sites", 1) == one
    assert words.count("n_sites", 2).startswith("2 ")
    verb = {"en": ("waits", "wait"), "de": ("wartet", "warten"), "es": ("espera", "esperan")}
    for n, told in enumerate(verb[language], 1):
        text = words.count("in_waiting", n, values=words.count("n_values", n))
        assert f" {told} " in text


@pytest.mark.parametrize("language", languages()[1:])
def test_a_language_that_ships_has_every_text_of_the_update(language: str) -> None:
    shipped = shipped_table(language)["update"]
    assert set(shipped) == set(ENGLISH) - {"language"}
    for key, text in shipped.items():
        assert placeholders(text) == placeholders(ENGLISH[key]), key
        assert ("|" in text) == ("|" in ENGLISH[key]), key
        assert len(text) <= LONGEST_TEXT, key
    assert len(shipped["months"].split()) == 12
    UpdateWords(shipped_texts("update", language))
