"""A digit crossed out and the number going on in the next box: accepted where that is plain."""

import numpy as np
import pytest

from sheet_reader.decode.sheet import decode_sheet
from sheet_reader.wording import words

GOOD = {"site": "2043", "visit_date": "200526", "helpers": "_3"}
STRUCK = "a box was struck out; {} read from the others"


@pytest.fixture
def count(beans, written, stated, today):
    """The three boxes of a count as read, on an otherwise clean sheet."""

    def run(states, **more):
        filled = written(beans, {**GOOD, **more, "a.blackfly": states})
        page = decode_sheet(filled.view(), stated(filled.flat()), beans, today)
        return next(f for f in page.fields if f.field == "a.blackfly")

    return run


@pytest.mark.parametrize("states", ["_#5", "#5_"])
def test_a_digit_crossed_out_on_the_way_is_no_reason_to_ask(count, states):
    found = count(states)
    assert (found.value, found.status, found.reasons) == ("5", "accepted", ())


@pytest.mark.parametrize(
    ("states", "value"),
    [
        ("1#2", "12"),  # no box left: what belongs there may stand beside
        ("#12", "12"),
        ("_5#", "5"),  # the number stops where it should go on
        ("5#_", "5"),
        ("##5", "5"),
        ("#_5", "5"),
    ],
)
def test_where_the_right_digit_may_stand_beside_it_is_asked(count, states, value):
    found = count(states)
    assert (found.value, found.status) == (value, "flagged")
    assert words(found.reasons).startswith(STRUCK.format(value))


@pytest.mark.parametrize("digit", ["7", "0", "4"])
@pytest.mark.parametrize("struck", [0.1, 0.3, 0.6, 0.9, 0.985])
def test_a_crossed_seven_a_slashed_zero_or_a_four_is_never_left_out_silently(count, digit, struck):
    half = {"#": struck, digit: 0.999 - struck}
    for states in (["_", half, "5"], [half, "5", "_"]):
        found = count(states)
        assert found.status == "flagged" or (digit, struck < 0.5, found.value) == ("0", True, "5")


def test_an_uncertain_digit_after_it_is_asked_about(count):
    assert count(["_", "#", {"5": 0.9, "6": 0.099}]).status == "flagged"
    assert count(["_", "#", {"5": 0.9, "_": 0.099}]).status == "flagged"


def test_a_hand_whose_own_digits_look_struck_is_always_asked(count):
    seven = {"7": 0.9, "#": 0.0999}
    row = [*"0123456", seven, *"89"]
    assert count("_#5", own_digits=list("0123456789")).status == "accepted"
    asked = count("_#5", own_digits=row)
    assert (asked.value, asked.status) == ("5", "flagged")


def test_site_and_date_with_a_crossed_digit_are_asked_about(beans, written, stated, today):
    """Their boxes are as many as their digits: a struck one leaves a digit missing."""
    states = {**GOOD, "visit_date": "#50526", "site": "#204"}
    filled = written(beans, states)
    page = decode_sheet(filled.view(), stated(filled.flat()), beans, today)
    by_name = {f.field: f for f in page.fields}
    assert by_name["site"].status == by_name["visit_date"].status == "flagged"
    assert (page.site, page.visit_date) == (None, None)
    assert np.isfinite(by_name["site"].confidence)
