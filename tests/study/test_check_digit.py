"""Damm's check digit against the published example, a reference library and its promise."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import damm as reference

from sheet_reader.study.check_digit import damm, is_valid

DIGITS = st.text("0123456789", min_size=1, max_size=20)


def test_published_example() -> None:
    # the worked example of H. M. Damm's algorithm, as encyclopedias print it: 572 -> 4
    assert damm("572") == "4"
    assert is_valid("5724")
    assert not is_valid("5727")


@given(DIGITS)
def test_same_as_the_reference_library(digits: str) -> None:
    # python-stdnum, module stdnum.damm
    assert damm(digits) == reference.calc_check_digit(digits)
    assert is_valid(digits + damm(digits))


def test_finds_every_single_substitution_and_adjacent_swap() -> None:
    # shared check values: of 36,000 substitutions and 2,700 swaps none passes
    substitutions = swaps = 0
    for first in product("0123456789", repeat=3):
        number = "".join(first)
        number += damm(number)
        for place in range(4):
            for digit in "0123456789":
                if digit != number[place]:
                    substitutions += 1
                    assert not is_valid(number[:place] + digit + number[place + 1 :])
            if place < 3 and number[place] != number[place + 1]:
                swaps += 1
                swapped = number[place + 1] + number[place]
                assert not is_valid(number[:place] + swapped + number[place + 2 :])
    assert substitutions == 36_000
    assert swaps == 2_700


@pytest.mark.parametrize("text", ["", "12a", "1 2", "-1", "²", "٣"])
def test_only_ascii_digits_have_one(text: str) -> None:
    assert not is_valid(text)
    with pytest.raises(ValueError, match="only the digits"):
        damm(text)


def test_a_single_digit_is_no_site_number() -> None:
    assert not is_valid("0")
