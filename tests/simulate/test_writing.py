"""Printing, handwriting, values: what stands on the paper before it is photographed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from thorough import examples

from sheet_reader.demo.samples import SAMPLES, copy_sample, sample_folder
from sheet_reader.lab.held_out import held_out_hands
from sheet_reader.lab.sets import find_data
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate import marks
from sheet_reader.simulate.fill import fill_page
from sheet_reader.simulate.habits import NEAT, SLOPPY, TYPICAL, Habits
from sheet_reader.simulate.ink import lay_ink, random_ink_pen
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.no_sheet import older_layout
from sheet_reader.simulate.one_site import OnePerson
from sheet_reader.simulate.own_row import own_row
from sheet_reader.simulate.printer import PAPER_MM, halftone, print_page
from sheet_reader.simulate.sources import (
    Hands,
    ImageHands,
    ProceduralHands,
    StrokeHands,
    StrokeSet,
    fit_strokes,
    load_strokes,
)
from sheet_reader.simulate.truth import CellTruth, FieldTruth
from sheet_reader.simulate.values import Visit, random_visit, wrong_total
from sheet_reader.study.fields import OWN_DIGITS
from sheet_reader.study.reader import read_study
from sheet_reader.study.site_numbers import is_valid


def test_paper_sizes_are_those_of_the_standards() -> None:
    """ISO 216: A4 is 210 × 297 mm; ANSI/ASME Y14.1 size A (Letter) is 215.9 × 279.4 mm."""
    assert PAPER_MM == {"A4": (210, 297), "Letter": (215.9, 279.4)}


@pytest.mark.parametrize("scale", [0.90, 0.95, 1.0])
def test_print_scale_moves_everything_as_it_says(scale: float) -> None:
    level = replace(LEVELS["hard"], print_scale=(scale, scale), dithered=0.0, feed_skew_deg=1.0)
    template = np.full((2376, 1680), 255, np.uint8)
    places = np.array([(20.0, 30.0), (180.0, 40.0), (100.0, 250.0)])
    for x, y in places:
        centre = (int(x * 8 * 16 - 8), int(y * 8 * 16 - 8))
        cv2.circle(template, centre, 24 * 16, 0, -1, cv2.LINE_AA, 4)
    paper = print_page(template, 8.0, level, np.random.default_rng(1))
    assert paper.scale == pytest.approx(scale)
    dark = (cv2.cvtColor(paper.bgr, cv2.COLOR_BGR2GRAY) < 128).astype(np.uint8)
    _, _, sizes, middles = cv2.connectedComponentsWithStats(dark)
    found = (middles[sizes[:, 4] > 500][1:] + 0.5) / 8.0
    expected = paper.place(places)
    for place in expected:
        assert np.min(np.linalg.norm(found - place, axis=1)) < 0.03


def test_a_letter_page_on_a4_paper_fits_whole() -> None:
    template = np.full((2235, 1727), 255, np.uint8)
    paper = print_page(template, 8.0, LEVELS["typical"], np.random.default_rng(2), (210.0, 297.0))
    assert paper.size_mm == pytest.approx((210, 297), abs=0.1)
    corners = paper.place(np.array([(0, 0), (215.9, 279.4)], float))
    assert corners.min() > -1
    assert np.all(corners[1] < np.array([211, 298]))


def test_a_halftone_keeps_the_mean_and_has_only_black_and_white() -> None:
    for level in (80, 128, 170):
        screen = halftone(np.full((400, 400), level, np.uint8), 12.0, 0.6)
        assert set(np.unique(screen)) == {0, 255}
        assert screen.mean() == pytest.approx(level, abs=3)


@settings(max_examples=examples(60), deadline=None)
@given(seed=st.integers(0, 2**32 - 1), name=st.sampled_from(SAMPLES))
def test_visits_obey_the_study(beans: LayoutBook, pools: LayoutBook, seed: int, name: str) -> None:
    study = {"bean_tips": beans, "rock_pools": pools}[name].study
    visit = random_visit(study, np.random.default_rng(seed))
    assert set(visit.values) == {spec.name for spec in study.fields}
    assert is_valid(visit.site)
    assert study.site(visit.site) is not None
    assert study.season.first <= date.fromisoformat(visit.visit_date) <= study.season.last
    for spec in study.fields:
        if spec.kind.name in ("number", "count"):
            value = visit.values[spec.name]
            assert len(value) <= spec.boxes
            assert (spec.lowest or 0) <= int(value)
            assert spec.highest is None or int(value) <= spec.highest
    for rule in study.sums:
        total = sum(int(visit.values[part]) for part in rule.parts)
        assert (total == int(visit.values[rule.total])) != (rule.total in visit.wrong_sums)


def test_about_three_in_a_hundred_sums_are_wrong(beans: LayoutBook) -> None:
    rng = np.random.default_rng(5)
    wrong = sum(len(random_visit(beans.study, rng).wrong_sums) for _ in range(1000))
    assert 30 <= wrong <= 90  # 2000 sums, 60 expected, standard deviation 7.6


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        ("off by one or two", {34, 35, 37, 38}),
        ("carry", {26, 46, 136}),
        ("part left out", {33, 26, 13}),
        ("swapped", {63}),
        ("one digit", {30, 31, 32, 33, 34, 35, 37, 38, 39, 6, 16, 26, 46, 56, 66, 76, 86, 96}),
    ],
)
def test_a_wrong_total_is_one_that_people_write(error: str, expected: set[int]) -> None:
    rng = np.random.default_rng(1)
    found = {wrong_total(error, (3, 10, 23, 0), 36, 200, rng) for _ in range(400)}
    assert found == expected


def test_any_other_total_may_be_written() -> None:
    rng = np.random.default_rng(1)
    found = {wrong_total("anything", (3, 10), 13, 30, rng) for _ in range(600)}
    assert found == set(range(31)) - {13}
    assert wrong_total("swapped", (2, 2), 4, 9, rng) in set(range(10)) - {4}


def fill(
    book: LayoutBook, hands: Hands, habits: Habits, seed: int
) -> tuple[np.ndarray, np.ndarray, tuple[FieldTruth, ...], tuple[CellTruth, ...], Visit]:
    rng = np.random.default_rng(seed)
    page = book.layout().pages[0]
    level = replace(LEVELS["easy"], print_scale=(1.0, 1.0))
    paper = print_page(book.template(page, 6.0), 6.0, level, rng)
    before = paper.bgr.copy()
    visit = random_visit(book.study, rng)
    fields, cells, _ = fill_page(paper, page, visit, hands, habits, rng)
    return before, paper.bgr, fields, cells, visit


@pytest.mark.parametrize("seed", range(12))
def test_the_boxes_hold_what_the_fields_say(
    beans: LayoutBook, hands: ProceduralHands, seed: int
) -> None:
    always = Habits(0.1, 0.2, 0.1, 0.1, 0.1, 0.2, 0.1, 0.5)
    _, _, fields, cells, visit = fill(beans, hands, always, seed)
    order = {c.field: [] for c in cells}
    for cell in cells:
        order[cell.field].append(cell.content)
    for field in fields:
        digits = "".join(c for c in order[field.field] if c.isdigit())
        if field.state in ("written", "corrected"):
            value = visit.values[field.field]
            assert field.value == value
            if "-" in value:
                assert digits == value[8:] + value[5:7] + value[2:4]
            else:
                assert digits.lstrip("0") == value.lstrip("0") or field.field == "site"
                assert len(digits) >= len(value)
            assert ("struck" in order[field.field]) == (field.state == "corrected")
        else:
            assert field.value is None
            assert digits == ""
            kinds = {"empty": {"empty"}, "struck": {"struck", "empty"}, "mark": {"other", "empty"}}
            assert set(order[field.field]) <= kinds[field.state]


def test_ink_lies_in_the_inked_boxes_and_not_in_the_blank_ones(
    beans: LayoutBook, hands: ProceduralHands
) -> None:
    page = beans.layout().pages[0]
    boxes = {(c.field, c.index): c.box_mm for c in page.cells}
    for seed in range(3):
        before, after, _, cells, _ = fill(beans, hands, NEAT, seed)
        change = np.abs(before.astype(int) - after).max(axis=2)
        for cell in cells:
            x, y, w, h = (v * 6.0 for v in boxes[cell.field, cell.index])
            inner = change[int(y + 9) : int(y + h - 9), int(x + 9) : int(x + w - 9)]
            assert (inner.max() > 40) == (cell.content != "empty"), (seed, cell)


def test_a_filled_box_is_mostly_black() -> None:
    rng = np.random.default_rng(0)
    for _ in range(10):
        pen = random_ink_pen(12.0, rng)
        paper = np.full((120, 100, 3), 250, np.uint8)
        ink = pen.draw(marks.filled_box(110, 90, pen.width_px, rng), (120, 100), rng)
        lay_ink(paper, ink, (0, 0), pen)
        dark = paper[10:100, 10:80].min(axis=2) < 200
        assert dark.mean() > 0.7


def test_pens_are_as_wide_as_pens() -> None:
    rng = np.random.default_rng(0)
    for _ in range(30):
        pen = random_ink_pen(20.0, rng)
        line = [np.array([[20.0, 100], [180, 100]])]
        ink = pen.draw(line, (200, 200), rng)
        width = np.median((ink[:, 50:150] > 0.15).sum(axis=0)) / 20.0
        assert 0.25 < width < 1.1


def test_strokes_fit_their_canvas() -> None:
    strokes = [np.array([[0.0, 0], [300, 500]]), np.array([[100.0, 250], [250, 250]])]
    fitted = np.concatenate(fit_strokes(strokes, 80, 60, 6.0))
    assert fitted.min() >= 3.0 - 1e-9
    assert np.all(fitted.max(axis=0) <= np.array([60, 80]) - 1 - 3.0 + 1e-9)
    assert np.ptp(fitted, axis=0)[1] / np.ptp(fitted, axis=0)[0] == pytest.approx(5 / 3)


def test_a_writer_writes_by_their_own_samples_and_borrows_missing_digits() -> None:
    rng = np.random.default_rng(0)
    flat, steep = np.array([[0.0, 0], [10, 0.0]]), np.array([[0.0, 0], [0.0, 10]])
    samples = StrokeSet(
        ((flat,), (steep,), (flat,)), np.array([1, 1, 2], np.uint8), ("a", "b", "a")
    )
    hands = StrokeHands("two people", samples)
    shapes = set()
    for _ in range(20):
        person = hands.writer(random_ink_pen(8.0, rng), rng)
        ones = {person.draw(1, 60, 60, rng).any(axis=1).sum() > 30 for _ in range(4)}
        assert len(ones) == 1
        shapes |= ones
        assert person.draw(2, 60, 60, rng).any()
    assert shapes == {True, False}


def test_images_as_a_hand() -> None:
    image = np.zeros((1, 20, 20), np.uint8)
    image[0, 4:16, 8:12] = 255
    hands = ImageHands("bars", image, np.array([1], np.uint8))
    rng = np.random.default_rng(0)
    ink = hands.writer(random_ink_pen(8.0, rng), rng).draw(1, 70, 50, rng)
    assert ink.shape == (70, 50)
    rows, columns = (np.flatnonzero(ink.max(axis=a) > 0.2) for a in (1, 0))
    assert np.ptp(rows) > 50
    assert np.ptp(columns) < 30


def test_each_sheet_of_images_is_one_persons() -> None:
    """Person "b" writes tall bars, "a" flat ones; a 2 that "b" never wrote comes from "a"."""
    images = np.zeros((3, 20, 20), np.uint8)
    images[0, 8:12, 4:16] = images[1, 4:16, 8:12] = images[2, 8:12, 4:16] = 255
    names = np.array(["a", "b", "a"])
    hands = ImageHands("bars", images, np.array([1, 1, 2], np.uint8), names)
    assert hands.people == 2
    rng = np.random.default_rng(0)
    seen = set()
    for _ in range(20):
        hand = hands.writer(random_ink_pen(8.0, rng), rng)
        seen.add(hand.person)
        tall = [np.ptp(np.flatnonzero(hand.draw(1, 70, 70, rng).max(axis=1) > 0.2)) > 50
                for _ in range(3)]  # fmt: skip
        assert all(tall) if hand.person == "bars b" else not any(tall)
        assert hand.draw(2, 70, 70, rng).max() > 0.3
    assert seen == {"bars a", "bars b"}


@pytest.mark.parametrize("name", marks.SIGNS)
def test_every_sign_leaves_ink(name: str) -> None:
    rng = np.random.default_rng(1)
    pen = random_ink_pen(8.0, rng)
    assert pen.draw(marks.sign(name, 60, 50, rng), (60, 50), rng).max() > 0.3


def test_sloppy_people_make_more_trouble(beans: LayoutBook, hands: ProceduralHands) -> None:
    def troubles(habits: Habits) -> int:
        fields = [f for seed in range(8) for f in fill(beans, hands, habits, seed)[2]]
        return sum(f.state not in ("written", "empty") for f in fields)

    assert troubles(NEAT) == 0
    assert troubles(SLOPPY) > 0


def test_held_out_writers_measure_and_nothing_else() -> None:
    data = find_data()
    if data is None:
        pytest.skip("needs ../shared/data (pendigits, UNIPEN)")
    from sheet_reader.lab.hands import sound
    from sheet_reader.lab.writers import TEST, writers_in

    path = data / "digits" / "unipen_1a.npz"
    held = sound("unipen_1a", TEST, data / "digits")
    samples = load_strokes(path, held)
    assert set(samples.writers) == set(writers_in("unipen_1a", TEST))
    with np.load(path) as arrays:
        counts = arrays["n_strokes"][held]
    assert [len(s) for s in samples.strokes[:50]] == counts[:50].tolist()
    hands = held_out_hands(data)
    assert hands.name == "pendigits + UNIPEN"
    rng = np.random.default_rng(3)
    people = {hands.writer(random_ink_pen(8.0, rng), rng).person for _ in range(60)}
    allowed = {f"pendigits {w}" for w in writers_in("pendigits_orig", TEST)}
    assert people <= allowed | {f"UNIPEN {w}" for w in writers_in("unipen_1a", TEST)}


def test_without_the_data_the_hands_say_what_they_are() -> None:
    assert "procedural" in held_out_hands(None).name
    assert "optdigits" in held_out_hands(None).name


def test_a_sample_copies_and_an_unknown_one_is_refused(tmp_path: Path) -> None:
    copy_sample("bean_tips", tmp_path / "new" / "study")
    assert (tmp_path / "new" / "study" / "study.toml").is_file()
    with pytest.raises(ValueError, match="rock_pools"):
        sample_folder("moss")


def test_an_older_layout_has_another_version(beans: LayoutBook) -> None:
    assert older_layout(beans).version != beans.version


def test_a_person_uses_every_sample_before_one_comes_again_and_none_twice_alike() -> None:
    """Four lines, each leaning further: the lean tells which sample was drawn."""
    leans = np.array([0.1, 0.5, 0.9, 1.3])
    strokes = tuple((np.array([[0.0, 0.0], [10.0 * lean, 10.0]]),) for lean in leans)
    samples = StrokeSet(strokes, np.zeros(4, np.uint8), ("ada",) * 4)
    rng = np.random.default_rng(3)
    writer = StrokeHands("made up", samples).writer(random_ink_pen(3.0, rng), rng)
    seen = []
    for _ in range(8):
        ink = writer.draw(0, 200, 200, rng) > 0.3
        across, down = (np.ptp(np.flatnonzero(ink.any(axis=axis))) for axis in (0, 1))
        seen.append(across / down)
    drawn = np.abs(np.array(seen)[:, None] - leans).argmin(axis=1)
    assert sorted(drawn[:4]) == sorted(drawn[4:]) == [0, 1, 2, 3]
    assert np.abs(np.sort(seen[:4]) - np.sort(seen[4:])).min() > 0.001


def ink_in(
    before: np.ndarray, after: np.ndarray, box: tuple[float, float, float, float]
) -> np.ndarray:
    """Where ink was laid within a box in mm, at 6 px per mm, nothing printed counted."""
    x, y, w, h = (round(v * 6.0) for v in box)
    part = slice(y, y + h), slice(x, x + w)
    change = np.abs(before[part].astype(int) - after[part]).max(axis=2)
    return np.asarray(change > 40)


def test_tallies_names_and_remarks_stand_in_their_places(
    beans: LayoutBook, hands: ProceduralHands
) -> None:
    page = beans.layout().pages[0]
    always = replace(NEAT, empty=0.0, tally=1.0, remark=1.0, counted_by=1.0)
    before, after, _, _, visit = fill(beans, hands, always, 3)
    for area in page.areas:
        expected = area.kind != "tally" or int(visit.values[area.field]) > 0
        assert ink_in(before, after, area.box_mm).any() == expected, area
    kept = [c.box_mm for c in page.cells] + [area.box_mm for area in page.areas]
    outside = np.abs(before.astype(int) - after).max(axis=2) > 40
    for x, y, w, h in kept:
        outside[round((y - 1.5) * 6) : round((y + h + 1.5) * 6),
                round((x - 1.5) * 6) : round((x + w + 1.5) * 6)] = False  # fmt: skip
    assert not outside.any()


def test_a_wrong_digit_is_crossed_out_and_stays_legible(
    beans: LayoutBook, hands: ProceduralHands
) -> None:
    page = beans.layout().pages[0]
    boxes = {(c.field, c.index): c.box_mm for c in page.cells}
    crossing = replace(NEAT, empty=0.0, corrected=0.5, filled=0.0, beside=0.0)
    filling = replace(crossing, filled=1.0)
    shares: dict[bool, list[float]] = {False: [], True: []}
    for habits, filled in ((crossing, False), (filling, True)):
        for seed in range(4):
            before, after, fields, cells, _ = fill(beans, hands, habits, seed)
            corrected = {f.field for f in fields if f.state == "corrected"}
            for cell in cells:
                if cell.content == "struck":
                    assert cell.field in corrected
                    x, y, w, h = boxes[cell.field, cell.index]
                    inside = ink_in(before, after, (x + 1, y + 1, w - 2, h - 2))
                    shares[filled].append(float(inside.mean()))
    assert len(shares[False]) > 10
    assert np.median(shares[False]) < 0.5 < np.median(shares[True])


def test_a_number_beside_the_boxes_leaves_nothing_readable_in_them(
    beans: LayoutBook, hands: ProceduralHands
) -> None:
    habits = replace(NEAT, empty=0.0, corrected=0.5, beside=1.0)
    page = beans.layout().pages[0]
    first = {c.field: c.box_mm for c in page.cells if c.index == 0}
    before, after, fields, cells, _ = fill(beans, hands, habits, 1)
    struck = [f for f in fields if f.state == "struck"]
    assert struck
    for field in struck:
        assert field.value is None
        contents = {c.content for c in cells if c.field == field.field}
        assert contents <= {"struck", "empty"}
        x, y, w, h = first[field.field]
        assert ink_in(before, after, (x - w, y, w - 1, h)).any()


def test_a_cross_goes_from_corner_to_corner() -> None:
    rng = np.random.default_rng(4)
    crosses = [marks.cross_out(95, 80, rng) for _ in range(200)]
    assert 2 <= sum(len(cross) == 1 for cross in crosses) <= 40  # 16 expected, sd 3.8
    ends = np.array([[c[0][0], c[0][-1]] for c in crosses])
    assert np.abs(np.median(ends[:, 0], axis=0) - (0, 0)).max() < 4
    assert np.abs(np.median(ends[:, 1], axis=0) - (79, 94)).max() < 4


def test_rows_of_own_digits_are_not_all_as_the_sheet_asks() -> None:
    rng = np.random.default_rng(1)
    rows = ["".join(c if c.isdigit() else "_" for c in own_row(TYPICAL, rng)) for _ in range(4000)]
    shares = {
        "empty": np.mean([row == "_" * 10 for row in rows]),
        "from one": np.mean([row == "1234567890" for row in rows]),
        "partial": np.mean([0 < row.count("_") < 10 for row in rows]),
        "in order": np.mean([row == "0123456789" for row in rows]),
    }
    written = 1 - TYPICAL.row_empty
    assert shares["empty"] == pytest.approx(TYPICAL.row_empty, abs=0.02)
    assert shares["from one"] == pytest.approx(written * TYPICAL.row_from_one, abs=0.01)
    assert shares["partial"] == pytest.approx(written * TYPICAL.row_partial, abs=0.01)
    assert 0.65 < shares["in order"] < 0.9
    assert {len(row) for row in rows} == {10}
    moved_up = [row.rstrip("_") for row in rows if row.endswith("_") and row.rstrip("_").isdigit()]
    assert any(row != "0123456789"[: len(row)] for row in moved_up)


def test_one_person_writes_all_sheets_of_a_site() -> None:
    labels = np.repeat(np.arange(10), 12).astype(np.uint8)
    strokes = tuple((np.array([[0.0, 0.0], [1.0, float(i)]]),) for i in range(120))
    people = tuple(f"p{i % 3}" for i in range(120))
    hands = StrokeHands("three", StrokeSet(strokes, labels, people))
    rng = np.random.default_rng(0)
    pen = random_ink_pen(6.0, rng)
    for seed in range(5):
        person = OnePerson(hands, seed)
        sheets = [person.writer(pen, rng) for _ in range(4)]
        assert len({sheet.person for sheet in sheets}) == 1
        for sheet in sheets:
            sheet.draw(3, 20, 20, rng)
        assert sheets[0].left[3] == [], "all four samples were used once"
    assert len({OnePerson(hands, seed).writer(pen, rng).person for seed in range(20)}) == 3


def test_own_digits_are_written_each_in_its_box(hands: ProceduralHands) -> None:
    study = replace(read_study(sample_folder("bean_tips")), own_digits=True)
    _, _, fields, cells, _ = fill(LayoutBook(study), hands, NEAT, 2)
    own = [c for c in cells if c.field == OWN_DIGITS]
    assert [c.content for c in own] == list("0123456789")
    assert [f.value for f in fields if f.field == OWN_DIGITS] == ["0123456789"]
