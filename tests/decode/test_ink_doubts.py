"""Doubts of the ink: pale ink is no empty box, the page behind no digit, a tally stroke no 1."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from sheet_reader.decode.ink_doubts import ink_doubts, pale_advice, sheet_doubt, sheet_ink
from sheet_reader.decode.judgement import Judgement
from sheet_reader.decode.sheet import decode_sheet
from sheet_reader.reasons import Code, Occlusion, because
from sheet_reader.sheet.page import Cell
from sheet_reader.wording import words

GOOD = {"site": "2043", "visit_date": "200526", "helpers": "_3"}
PEN, PAPER = 0.30, 0.02
"""How dark a stroke looks in a box with ink and in one without."""


@pytest.fixture
def decode(beans, written, stated, today):
    """Decode ``states``; ``special`` boxes by field and index differ from what the pen gives."""

    def run(states, special=None, pen=PEN, threshold=0.95):
        filled = written(beans, {**GOOD, **states})
        view = filled.view()
        boxes = [
            replace(
                box,
                **{"stroke": PAPER if state == "_" else pen, "contrast": 0.9, "blur_mm": 0.1,
                   **(special or {}).get((box.cell.field, box.cell.index), {})},
            )
            for box, state in zip(view.boxes, filled.flat(), strict=True)
        ]  # fmt: skip
        view = replace(view, boxes=tuple(boxes))
        page = decode_sheet(view, stated(filled.flat()), beans, today, threshold=threshold)
        return page, {f.field: f for f in page.fields}

    return run


def test_a_pale_1_beside_a_clear_5_is_not_read_as_5(decode):
    field = decode({"a.plants": "_5"}, {("a.plants", 0): {"stroke": 0.10}})[1]["a.plants"]
    assert field.status == "flagged"
    assert field.reasons == (because(Code.FAINT_INK, box=0, boxes=2, part=""),)
    assert words(field.reasons) == "the first box seems empty, but may hold pale ink"


def test_a_pale_0_is_not_taken_for_not_recorded(decode):
    field = decode({"a.eggs": "__"}, {("a.eggs", 1): {"stroke": 0.14}})[1]["a.eggs"]
    assert (field.status, field.value) == ("flagged", None)


def test_empty_boxes_are_empty_where_ink_would_have_been_seen(decode):
    fields = decode({"a.eggs": "__", "a.plants": "_5"})[1]
    assert (fields["a.eggs"].status, fields["a.plants"].status) == ("empty", "accepted")


def test_what_the_paper_s_noise_gives_is_as_dark_as_a_pale_pencil(decode):
    """In one box a pencil's stroke looks no darker than the noise in another one."""
    assert decode({"a.eggs": "__"}, pen=0.04)[1]["a.eggs"].status == "flagged"
    assert decode({"a.eggs": "__"}, pen=0.06)[1]["a.eggs"].status == "empty"


def test_noise_alone_is_no_ink_where_the_sheet_s_ink_is_dark(decode):
    noisy = {("a.eggs", i): {"stroke": 0.11, "stroke_noise": 0.02} for i in (0, 1)}
    assert decode({"a.eggs": "__"}, noisy)[1]["a.eggs"].status == "empty"
    assert decode({"a.eggs": "__"}, noisy, pen=0.2)[1]["a.eggs"].status == "flagged"


def test_ink_would_look_paler_in_a_blurred_or_dim_box(decode):
    some = {"stroke": 0.05}
    for special in ({}, {"blur_mm": 0.6}, {"contrast": 0.3}):
        box = {("a.eggs", 1): {**some, **special}}
        status = decode({"a.eggs": "__"}, box, pen=0.16)[1]["a.eggs"].status
        assert status == ("flagged" if special else "empty")


def test_what_shines_through_is_no_digit(decode):
    field = decode({"a.blackfly": "_12"}, {("a.blackfly", 1): {"stroke": 0.12}})[1]["a.blackfly"]
    assert field.reasons == (because(Code.PALE_INK, box=1, boxes=3, part=""),)
    assert decode({"a.blackfly": "_12"})[1]["a.blackfly"].status == "accepted"


def test_a_site_number_that_shines_through_is_asked_about(decode):
    page, fields = decode({}, {("site", 2): {"stroke": 0.1}})
    assert page.site is None
    assert fields["site"].status == "flagged"
    assert decode({})[0].site == "2043"


def test_tally_strokes_on_their_way_into_the_box_are_asked_about(decode):
    beside = {("a.blackfly", 0): {"gap_stroke": 0.2}}
    assert decode({"a.blackfly": "12_"}, beside)[1]["a.blackfly"].reasons == (
        because(Code.TALLY_INK, box=0, boxes=3, part=""),
    )
    assert decode({"a.blackfly": "_12"}, beside)[1]["a.blackfly"].status == "accepted"


def test_a_stroke_half_in_the_gap_is_asked_about_where_it_is_darker_than_the_noise(decode):
    """Seen in made-up photographs: the last but one of a tally's strokes on the gap's edge."""
    for noise, asked in ((0.02, True), (0.04, False)):
        beside = {("a.blackfly", 0): {"gap_stroke": 0.1, "stroke_noise": noise}}
        field = decode({"a.blackfly": "12_"}, beside)[1]["a.blackfly"]
        assert (field.status == "flagged") == asked
    assert (
        decode({"a.blackfly": "12_"}, {("a.blackfly", 0): {"gap_stroke": 0.07}})[1][
            "a.blackfly"
        ].status
        == "accepted"
    )


@pytest.mark.parametrize(
    ("digits", "edge", "status"),
    [("12_", 0.15, "flagged"), ("12_", 0.04, "accepted"), ("62_", 0.15, "accepted")],
)
def test_a_one_beside_a_stroke_on_its_frame_is_asked_about(decode, digits, edge, status):
    """Two strokes of a tally, one on the frame and one behind it, look like a 1."""
    field = decode({"a.blackfly": digits}, {("a.blackfly", 0): {"edge_stroke": edge}})[1]
    assert field["a.blackfly"].status == status


def test_a_stroke_that_leaves_its_box_is_asked_about_sooner(decode):
    unsure = [{"1": 0.985, "7": 0.013}, "2", "_"]
    leaves = {("a.blackfly", 0): {"leaves_mm": 0.9}}
    kept, asked = (
        decode({"a.blackfly": unsure}, special)[1]["a.blackfly"] for special in ({}, leaves)
    )
    assert (kept.status, asked.status) == ("accepted", "flagged")
    assert asked.reasons == (because(Code.STROKE_LEAVES),)
    assert decode({"a.blackfly": "12_"}, leaves)[1]["a.blackfly"].status == "accepted"


def test_strokes_that_were_not_measured_raise_no_doubt(decode):
    bare = {("a.eggs", i): {"stroke": 0.0} for i in (0, 1)}
    assert decode({"a.eggs": "__"}, bare)[1]["a.eggs"].status == "empty"
    assert decode({"a.eggs": "12"}, bare)[1]["a.eggs"].status == "accepted"


CELL = Cell("a.eggs", 0, (0, 0, 8, 9.5))


@dataclass
class Box:
    stroke: float = PEN
    cell: Cell = CELL
    occluded: Occlusion = Occlusion.NONE
    blur_mm: float = 0.1
    contrast: float = 0.9
    stroke_noise: float = 0.005
    leaves_mm: float = 0.0
    gap_stroke: float = 0.0
    edge_stroke: float = 0.0


def rows(*states: tuple[int, float]) -> np.ndarray:
    """Probabilities (N, 14) with the class at each place as probable as told."""
    out = np.empty((len(states), 14))
    for row, (at, p) in zip(out, states, strict=True):
        row[:] = (1 - p) / 13
        row[at] = p
    return out


def test_the_ink_of_a_sheet_comes_from_its_sure_digits_alone():
    sure = rows((1, 0.99), (2, 0.99), (3, 0.99), (4, 0.5), (10, 0.99))
    ink = sheet_ink([Box(0.2), Box(0.3), Box(0.4), Box(0.9), Box(0.01)], sure)
    assert ink is not None
    assert ink.stroke == pytest.approx(0.3)
    assert sheet_ink([Box()] * 2, rows((1, 0.99), (2, 0.99))) is None


def test_without_examples_only_what_no_empty_box_shows_is_a_doubt():
    empty = rows((10, 0.99))
    assert ink_doubts([Box(0.05)], empty) == [None]
    assert ink_doubts([Box(0.08)], empty) == [Code.FAINT_INK]
    assert ink_doubts([Box(0.08, occluded=Occlusion.COVERED)], empty) == [None]


def test_a_sheet_in_pale_pencil_is_told_so():
    three = rows((1, 0.99), (2, 0.99), (3, 0.99))
    assert "darker pen" in pale_advice(sheet_ink([Box(0.08)] * 3, three))
    assert pale_advice(sheet_ink([Box(0.3)] * 3, three)) == ""
    assert pale_advice(None) == ""


def test_many_doubtful_digits_raise_every_doubt_of_the_sheet():
    calm, odd = rows(*[(1, 0.99)] * 20), rows(*[(1, 0.99)] * 12, *[(7, 0.7)] * 8)
    assert sheet_doubt([Box()] * 20, calm) == 1.0
    assert sheet_doubt([Box()] * 20, odd) > sheet_doubt([Box()] * 16, odd[:-4]) > 1.0
    assert sheet_doubt([], np.zeros((0, 14))) == 1.0


def test_a_raised_doubt_is_named_only_where_it_decides():
    odd = because(Code.ODD_SHEET)
    sure = Judgement("a.eggs", "12", 0.99).doubted(4.0, odd)
    assert sure.confidence == pytest.approx(0.96)
    assert sure.reading(0.95).status == "accepted"
    assert sure.reading(0.97).reasons == (odd,)
    unsure = Judgement("a.eggs", "12", 0.9).doubted(4.0, odd)
    assert unsure.reading(0.97).reasons == (because(Code.UNCERTAIN),)
