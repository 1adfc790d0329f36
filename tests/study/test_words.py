"""Words of sheets, letters and updates: complete sets, single words, and what may not be set."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from sheet_reader.errors import StudyError
from sheet_reader.study.reader import read_study
from sheet_reader.study.words import (
    ENGLISH,
    ENGLISH_LETTERS,
    KEYS,
    languages,
    placeholders,
    shipped_texts,
    shipped_words,
)

Write = Callable[..., Path]


def mistakes(folder: Path) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read_study(folder)
    return [str(mistake) for mistake in caught.value.mistakes]


def test_english_unless_said_otherwise(write: Write) -> None:
    assert read_study(write()).words == ENGLISH


def test_german_and_spanish_ship() -> None:
    assert languages() == ("en", "de", "es")


@pytest.mark.parametrize("language", ["de", "es"])
def test_a_shipped_set_is_complete_and_keeps_what_the_program_puts_in(language: str) -> None:
    words = shipped_words(language)
    assert len(words.months) == 12
    for key in KEYS:
        if key != "months":
            assert getattr(words, key) != getattr(ENGLISH, key), key
            assert placeholders(getattr(words, key)) == placeholders(getattr(ENGLISH, key)), key


def test_a_language_by_its_code(write: Write) -> None:
    study = read_study(write(("[season]", 'words = "de"\n[season]'), more="[comments]\n"))
    assert study.words == shipped_words("de")
    assert study.comments is not None
    assert study.comments.label == "Bemerkungen"


def test_single_words_on_top_of_a_language(write: Write) -> None:
    study = read_study(write(more='[words]\nlanguage = "es"\ncounted_by = "Quién"\n'))
    assert study.words.counted_by == "Quién"
    assert study.words.day == "día"


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ('words = "du"\n[season]', "words: there is no complete set “du”; there are “en”"),
        ('words = 7\n[season]', "words: must be a table, written [words]"),
        ('words = {dya = "x"}\n[season]', "words.dya: unknown key – did you mean “day”?"),
        ('words = {page = "Blad"}\n[season]', "words.page: must have {page}, {pages} in braces"),
        ('words = {day = "{x}"}\n[season]', "words.day: must have nothing in braces"),
        ('words = {day = "{"}\n[season]', "words.day: has a brace without its partner"),
        ('words = {months = ["Jan"]}\n[season]', "words.months: must hold twelve names"),
        ('words = {language = "xx"}\n[season]', "words.language: there is no complete set “xx”"),
        ('words = {day = 3}\n[season]', "words.day: must be text in quotes, not 3"),
    ],
)  # fmt: skip
def test_what_can_not_be_set_is_told(write: Write, words: str, expected: str) -> None:
    found = mistakes(write(("[season]", words)))
    assert any(line.startswith(expected) for line in found), found


@pytest.mark.parametrize("language", ["de", "es"])
def test_a_shipped_set_of_letters_is_complete(language: str) -> None:
    words = shipped_texts("letters", language)
    assert words.keys() == ENGLISH_LETTERS.keys()
    assert len(words["months"].split()) == 12
    for key, text in words.items():
        assert key in ("signature", "subject") or text != ENGLISH_LETTERS[key], key
        assert placeholders(text) == placeholders(ENGLISH_LETTERS[key]), key


def test_letters_follow_the_language_of_the_sheet(write: Write) -> None:
    study = read_study(write(("[season]", 'words = "de"\n[season]')))
    assert dict(study.letter_words) == shipped_texts("letters", "de")


def test_single_words_of_letters_on_top_of_a_language(write: Write) -> None:
    more = '[words]\nlanguage = "es"\n[words.letters]\ngreeting = "Buenas:"\n'
    study = read_study(write(more=more))
    assert dict(study.letter_words) == {**shipped_texts("letters", "es"), "greeting": "Buenas:"}
    assert study.words.day == "día"


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ('greting = "x"', "words.letters.greting: unknown key – did you mean “greeting”?"),
        ('empty = "{place} {day}"', "words.letters.empty: must have {day}, {field}, {place} in"),
        ('empty = "{place"', "words.letters.empty: has a brace without its partner"),
        ('greeting = "{0.__class__}"', "words.letters.greeting: must have nothing in braces"),
        ('months = "Jan Feb"', "words.letters.months: must be the names of twelve months"),
        ("closing = 3", "words.letters.closing: must be text in quotes, not 3"),
    ],
)
def test_what_can_not_be_set_in_letters_is_told(write: Write, line: str, expected: str) -> None:
    with pytest.raises(StudyError) as caught:
        read_study(write(more=f"[words.letters]\n{line}\n"))
    found = [str(mistake) for mistake in caught.value.mistakes]
    assert any(mistake.startswith(expected) for mistake in found), found
