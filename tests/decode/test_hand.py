"""Whose hand a sheet is in: the row of ten own digits, and the site's earlier sheets."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from sheet_reader.decode.hand import (
    FEWEST,
    SHEETS,
    FormerSheet,
    SheetHand,
    digits_in_boxes,
    own_digits,
    remembered,
)
from sheet_reader.decode.sheet import decode_sheet
from sheet_reader.decode.writer import DIGITS, Examples, shipped_model
from sheet_reader.digits.classes import CLASSES
from sheet_reader.reasons import Occlusion
from sheet_reader.sheet.page import Cell
from sheet_reader.vision.findings import BoxEvidence

Floats = NDArray[np.float64]
MODEL = shipped_model()
ORDER = list(range(DIGITS))
EMPTY, STRUCK = CLASSES.index("empty"), CLASSES.index("struck")


def view(field: str, index: int, hidden: Occlusion = Occlusion.NONE) -> BoxEvidence:
    return BoxEvidence(Cell(field, index, (0, 0, 8, 9)), 0.1, hidden, 0.0, 1.0, 0.1)


def rows(x: Floats) -> Floats:
    """Class probabilities (N, 14) with centred log-probabilities ``x``."""
    raised = np.exp(x - x.max(axis=1, keepdims=True))
    digits = (1 - 4e-6) * raised / raised.sum(axis=1, keepdims=True)
    return np.hstack([digits, np.full((len(x), 4), 1e-6)])


def only(state: int) -> Floats:
    """A box that surely is in this one of ``CLASSES``."""
    p = np.full(len(CLASSES), 1e-6)
    p[state] = 1.0 - p.sum() + 1e-6
    return p


class Person:
    """A hand drawn from the model, rather regular in itself."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        own = self.rng.multivariate_normal(np.zeros(DIGITS), MODEL.between, DIGITS)
        self.x = MODEL.means + own

    def write(self, digits: Sequence[int]) -> Floats:
        noise = self.rng.multivariate_normal(np.zeros(DIGITS), 0.5 * MODEL.within, len(digits))
        return rows(self.x[list(digits)] + noise)

    def examples(self, digits: Sequence[int]) -> Examples:
        return Examples.of(self.write(digits), digits)


def row_of(p: Floats, **hidden: Occlusion) -> Examples:
    boxes = [view("own_digits", i, hidden.get(f"box{i}", Occlusion.NONE)) for i in range(DIGITS)]
    return own_digits(boxes, p)


def clear(digits: Sequence[int]) -> Floats:
    """Boxes that hold these digits as most people write them; -1 for an empty box."""
    return np.stack([only(EMPTY if d < 0 else d) for d in digits])


def test_the_row_in_order_gives_ten_examples() -> None:
    assert row_of(clear(ORDER)).digits.tolist() == ORDER


@pytest.mark.parametrize("empty", [[], [0], [3, 4, 5], ORDER])
def test_empty_struck_and_hidden_boxes_of_the_row_are_no_examples(empty: list[int]) -> None:
    p = clear([-1 if i in empty else i for i in ORDER])
    p[9] = only(STRUCK)
    found = row_of(p, box8=Occlusion.COVERED).digits.tolist()
    assert found == [i for i in range(8) if i not in empty]


def test_a_row_in_another_order_gives_none() -> None:
    assert len(row_of(clear([*range(1, 10), 0]))) == 0
    assert len(row_of(clear(ORDER[::-1]))) == 0
    left_out = [0, 1, 2, 4, 5, 6, 7, 8, 9, -1]
    assert len(row_of(clear(left_out))) == 0


def test_a_box_with_another_digit_is_no_example() -> None:
    slipped = [0, 1, 2, 3, 4, 5, 6, 1, 8, 9]
    assert row_of(clear(slipped)).digits.tolist() == [0, 1, 2, 3, 4, 5, 6, 8, 9]


def test_a_digit_that_only_looks_like_another_stays_an_example() -> None:
    """A 1 with a roof that the reader takes for a 7 at 0.99 is just what the row is for."""
    p = clear(ORDER)
    p[1, 7], p[1, 1] = 0.99, 0.0099
    assert row_of(p).digits.tolist() == ORDER


STATES = {"site": "2043", "visit_date": "200526", "helpers": "_3", "a.eggs": "52", "a.small": "46"}


@pytest.fixture
def read(beans, written, stated, today):
    """The reading of one count's two boxes, on a sheet with this row of own digits, if any."""

    def run(plants, own=None, **options):
        states = {**STATES, "a.plants": plants}
        if own is not None:
            states["own_digits"] = own
        filled = written(beans, states)
        page = decode_sheet(filled.view(), stated(filled.flat()), beans, today, **options)
        return {f.field: f for f in page.fields}

    return run


ROOFED = {"1": 0.6, "7": 0.3999}
"""A 1 that looks much like a 7."""


def test_an_empty_row_changes_nothing(read):
    assert read(["2", ROOFED], "_" * 10) == read(["2", ROOFED])


def test_a_row_in_another_order_changes_nothing(read):
    assert read(["2", ROOFED], "1234567890") == read(["2", ROOFED])


def test_the_row_settles_what_its_writer_makes_of_a_one(read):
    row = ["0", ROOFED, *"23456789"]
    without, found = read(["2", ROOFED])["a.plants"], read(["2", ROOFED], row)["a.plants"]
    assert (without.value, without.status) == ("21", "flagged")
    assert found.value == "21"
    assert found.confidence > 1 - 0.3 * (1 - without.confidence)


def test_one_slip_in_the_row_accepts_nothing_wrong(read):
    """A 7 in place of the 1: clear 7s stay 7s, and what was doubtful is not accepted as 1."""
    for row in ("0723456789", "0773456789"):
        clear_seven = read(["2", "7"], row)["a.plants"]
        assert (clear_seven.value, clear_seven.status) == ("27", "accepted")
    doubtful = read(["2", {"7": 0.8, "1": 0.1999}], "0723456789")["a.plants"]
    assert (doubtful.value, doubtful.status) != ("21", "accepted")


def sheet_of(person: Person, digits: Sequence[int], row: Floats | None = None) -> SheetHand:
    p, boxes = person.write(digits), [view("a", i) for i in range(len(digits))]
    if row is not None:
        p = np.vstack([p, row])
        boxes += [view("own_digits", i) for i in range(DIGITS)]
    return SheetHand.of(boxes, p, {}, MODEL)


def test_a_row_by_another_hand_is_not_used() -> None:
    """Over many pairs of people: nearly all own rows count, and mostly no others'."""
    own = others = 0
    for seed in range(40):
        one, other = Person(seed), Person(1000 + seed)
        own += len(sheet_of(one, ORDER * 3, one.write(ORDER)).own) > 0
        others += len(sheet_of(one, ORDER * 3, other.write(ORDER)).own) > 0
    assert own >= 36
    assert others <= own / 2


def test_memory_is_used_for_the_hand_that_it_is_of() -> None:
    """Two people take turns at one site: each one's sheet remembers that one's digits only."""
    own = others = 0
    for seed in range(30):
        ada, bo = Person(seed), Person(2000 + seed)
        former = [
            FormerSheet(f"2026-05-0{day}", person.examples(ORDER * 2))
            for day, person in enumerate((ada, bo, ada, bo), start=1)
        ]
        found = remembered(former, "2026-06-01", ada.examples(ORDER * 3), MODEL).x
        own += sum(np.isin(f.examples.x[0, 0], found[:, 0]) for f in former[::2])
        others += sum(np.isin(f.examples.x[0, 0], found[:, 0]) for f in former[1::2])
    assert own >= 50
    assert others <= own / 3


def test_only_sheets_of_earlier_days_are_remembered_the_latest_first() -> None:
    ada = Person(4)
    former = [FormerSheet(f"2026-05-{day:02}", ada.examples(ORDER)) for day in range(1, 13)]
    now = ada.examples(ORDER * 3)
    assert len(remembered(former, "2026-05-01", now, MODEL)) == 0
    found = remembered(former, "2026-05-10", now, MODEL)
    lately = [f.examples for f in former if "2026-05-04" <= f.day < "2026-05-10"]
    assert SHEETS == len(lately) == len(found) // DIGITS
    assert sorted(found.x[:, 0]) == sorted(np.concatenate([e.x[:, 0] for e in lately]))


def test_too_few_digits_tell_no_hand() -> None:
    ada = Person(5)
    former = [FormerSheet("2026-05-01", ada.examples(ORDER * 2))]
    few = ada.examples(list(range(FEWEST - 1)))
    assert len(remembered(former, "2026-06-01", few, MODEL)) == 0


def test_memory_helps_to_read_counts_but_neither_site_nor_date(beans, written, stated, today):
    p = stated(["0", ROOFED, *"23456789"]).probabilities
    kept = Examples.of(np.vstack([p, p]), ORDER * 2)
    memory = {"2043": [FormerSheet("2026-05-01", kept)]}
    states = {**STATES, "visit_date": ["2", "0", "0", "5", "2", "6"], "a.plants": ["2", ROOFED]}

    def read(date_box, **options):
        states["visit_date"] = ["2", date_box, "0", "5", "2", "6"]
        filled = written(beans, states)
        page = decode_sheet(filled.view(), stated(filled.flat()), beans, today, **options)
        return {f.field: f for f in page.fields}

    with_memory, without = read("0", memory=memory), read("0")
    assert with_memory["a.plants"].confidence > without["a.plants"].confidence
    assert with_memory["visit_date"] == without["visit_date"]
    assert with_memory["site"] == without["site"]
    assert read("0", memory={"2055": memory["2043"]}) == without
    assert read(ROOFED, memory=memory) == read(ROOFED), "without a date nothing is remembered"


@pytest.mark.parametrize(
    ("states", "value", "found"),
    [
        ([1, 2], "12", {0: 1, 1: 2}),
        ([-1, 5], "5", {1: 5}),
        ([0, 5], "5", {0: 0, 1: 5}),
        ([5], "05", {0: 5}),
        ([0], "0", {0: 0}),
        ([0, 0], "0", {0: 0, 1: 0}),
        ([1, 7], "5", {}),  # a person's answer may spell another number than the boxes
        ([1, -1], "12", {}),
    ],
)
def test_a_settled_value_tells_which_digit_each_box_holds(states, value, found) -> None:
    assert digits_in_boxes(clear(states), value) == found
