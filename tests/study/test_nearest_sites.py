"""What a mistyped site number may have meant."""

from __future__ import annotations

import pytest

from sheet_reader.study.model import Site
from sheet_reader.study.nearest_sites import did_you_mean, nearest_sites

SITES = (Site("1029", "Old wall", ""), Site("2043", "Mill", ""), Site("5724", "", ""))


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("1028", "did you mean 1029 (Old wall)?"),
        ("1209", "did you mean 1029 (Old wall)?"),
        ("129", "did you mean 1029 (Old wall)?"),
        ("20443", "did you mean 2043 (Mill)?"),
        ("5734", "did you mean 5724?"),
        ("9998", ""),
    ],
)
def test_did_you_mean(typed: str, expected: str) -> None:
    assert did_you_mean(typed, SITES) == expected


def test_the_nearest_comes_first() -> None:
    assert [site.number for site in nearest_sites("2029", SITES)] == ["1029", "2043"]
