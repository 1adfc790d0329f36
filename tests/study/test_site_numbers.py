"""Site numbers: Damm's check digit against the published example, a reference library and its
promise; distances over all pairs; what a mistyped one may have meant.
"""

from __future__ import annotations

from itertools import combinations, product

import pytest
from counting import calls
from hypothesis import given, settings
from hypothesis import strategies as st
from number_pairs import hamming, is_swap
from stdnum import damm as reference
from thorough import examples

from sheet_reader.errors import UsageError
from sheet_reader.study.site_numbers import (
    choose_numbers,
    damm,
    digits_for,
    has_look_alikes,
    is_valid,
    nearest_sites,
    smallest_distance,
)
from sheet_reader.study.study import Site


def test_fifty_sites_over_all_pairs() -> None:
    found = choose_numbers(50)
    assert len(set(found.numbers)) == 50
    assert {len(n) for n in found.numbers} == {4}
    pairs = list(combinations(found.numbers, 2))
    assert len(pairs) == 1225
    assert min(sum(x != y for x, y in zip(a, b, strict=True)) for a, b in pairs) == 3
    assert found.distance == 3
    for a, b in pairs:
        for i in range(3):
            assert a[:i] + a[i + 1] + a[i] + a[i + 2 :] != b


def test_check_digits_are_those_of_an_independent_implementation() -> None:
    # python-stdnum's Damm, written from the same thesis
    for number in choose_numbers(50).numbers:
        assert reference.is_valid(number)
        assert is_valid(number)
        assert number[0] != "0"


def test_no_two_valid_numbers_are_one_fault_apart() -> None:
    """Where the supply is used up, two digits still differ and no swap leads to another."""
    bodies = [f"{body:02}" for body in range(100)]
    numbers = [body + damm(body) for body in bodies]
    for a, b in combinations(numbers, 2):
        assert hamming(a, b) >= 2
        assert not is_swap(a, b)


@pytest.mark.parametrize(("count", "digits", "distance"), [(12, 4, 3), (250, 5, 3), (300, 4, 2)])
def test_distance_reached(count: int, digits: int, distance: int) -> None:
    found = choose_numbers(count, digits=digits)
    assert len(found.numbers) == count
    assert found.distance == smallest_distance(found.numbers) == distance


def test_look_alikes_stand_side_by_side_only_where_the_supply_demands_it() -> None:
    assert has_look_alikes("2174")
    assert not has_look_alikes("1007")
    assert not any(has_look_alikes(n) for n in choose_numbers(30).numbers)
    assert sum(has_look_alikes(n) for n in choose_numbers(50).numbers) < 10


@settings(max_examples=25, deadline=None)
@given(first=st.integers(1, 20), more=st.integers(1, 20))
def test_a_list_is_extended_without_a_change(first: int, more: int) -> None:
    existing = choose_numbers(first).numbers
    found = choose_numbers(more, existing)
    assert len(found.numbers) == more
    assert not set(found.numbers) & set(existing)
    assert found.distance == smallest_distance((*existing, *found.numbers)) >= 2


def test_existing_numbers_of_her_own_are_kept_apart_from() -> None:
    own = ("0174", "2043", "2312")
    found = choose_numbers(12, own)
    assert {len(n) for n in found.numbers} == {4}
    assert min(hamming(a, b) for a in own for b in found.numbers) == 3


def test_same_numbers_every_time() -> None:
    assert choose_numbers(7) == choose_numbers(7)


def test_more_than_there_are_is_refused() -> None:
    with pytest.raises(UsageError, match="only 9 more site numbers of 2 digits"):
        choose_numbers(10, digits=2)
    with pytest.raises(UsageError, match="2 to 8 digits"):
        choose_numbers(1, digits=9)


def test_more_sites_get_more_digits() -> None:
    assert [digits_for(n) for n in (1, 50, 51, 250, 251, 2001)] == [4, 4, 5, 5, 6, 7]


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(st.from_regex(r"[0-9]{2,5}", fullmatch=True), max_size=25))
def test_the_smallest_distance_is_that_over_all_pairs(numbers: list[str]) -> None:
    """Against Hamming's definition (Bell System Technical Journal 29 (1950), 147–160)."""
    pairs = [hamming(a, b) for a, b in combinations(numbers, 2)]
    assert smallest_distance(numbers) == min(pairs, default=0)


def test_10000_numbers_are_chosen_without_comparing_pairs() -> None:
    """10,000 sites have 50 million pairs; the work is some lookups for each candidate."""
    before = choose_numbers(8000).numbers
    assert calls(lambda: choose_numbers(2000, before)) < 100 * 100_000
    half = calls(lambda: smallest_distance(before[:4000]))
    assert calls(lambda: smallest_distance(before)) <= 2.2 * half


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


SITES = (Site("1029", "Old wall", ""), Site("2043", "Mill", ""), Site("5724", "", ""))


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("1028", SITES[:1]),
        ("1209", SITES[:1]),
        ("129", SITES[:1]),
        ("20443", SITES[1:2]),
        ("5734", SITES[2:]),
        ("9998", ()),
    ],
)
def test_the_near_ones_are_within_two_mistakes(typed: str, expected: tuple[Site, ...]) -> None:
    assert nearest_sites(typed, SITES) == expected


def test_the_nearest_comes_first() -> None:
    assert [site.number for site in nearest_sites("2029", SITES)] == ["1029", "2043"]
