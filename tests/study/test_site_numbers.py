"""Site numbers: check digits, distances over all pairs."""

from __future__ import annotations

from itertools import combinations

import pytest
from counting import calls
from hypothesis import given, settings
from hypothesis import strategies as st
from stdnum import damm as published

from sheet_reader.errors import UsageError
from sheet_reader.study.check_digit import damm, is_valid
from sheet_reader.study.site_numbers import (
    choose_numbers,
    digits_for,
    hamming,
    has_look_alikes,
    is_swap,
    smallest_distance,
)


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
        assert published.is_valid(number)
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


@settings(max_examples=60, deadline=None)
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
