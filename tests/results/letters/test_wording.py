"""Days, lists and advice in words."""

from __future__ import annotations

import ast
from pathlib import Path

from sheet_reader.results.letters.open_items import OF_PHOTOS
from sheet_reader.results.letters.wording import ADVICE, advice_in
from sheet_reader.study.words import ENGLISH_LETTERS, shipped_texts
from sheet_reader.vision import quality


def test_all_advice_of_the_reader_has_words() -> None:
    tree = ast.parse(Path(quality.__file__).read_text(encoding="utf-8"))
    advice = {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and str(node.value).startswith("Please ")
    }
    assert len(advice) == len(ADVICE)
    for sentence in advice:
        assert advice_in(ENGLISH_LETTERS, sentence) == sentence
        assert advice_in(shipped_texts("letters", "de"), sentence).startswith("Bitte ")
    assert set(ADVICE.values()) == {key for key in ENGLISH_LETTERS if key.startswith("advice_")}
    assert set(OF_PHOTOS.values()) <= {key for key in ENGLISH_LETTERS if key.startswith("photo_")}
