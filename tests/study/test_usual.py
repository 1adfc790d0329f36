"""Usual paper by locale."""

from __future__ import annotations

import pytest

from sheet_reader.study.new_study import paper_for


@pytest.mark.parametrize(
    ("locale", "paper"),
    [
        ("en_US.UTF-8", "Letter"),
        ("es-MX", "Letter"),
        ("fr_CA", "Letter"),
        ("en_GB.UTF-8", "A4"),
        ("de_DE@euro", "A4"),
        ("zh_Hant_TW", "A4"),
        ("C", "A4"),
        ("", "A4"),
        ("en", "A4"),
        ("US", "A4"),
    ],
)
def test_paper_for(locale: str, paper: str) -> None:
    assert paper_for(locale) == paper
