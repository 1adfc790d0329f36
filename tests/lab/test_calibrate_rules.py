"""Calibration data and the table of rules, on one easy photograph."""

import numpy as np
import pytest

from sheet_reader.lab import calibrate, fit_writer, rules_table
from sheet_reader.lab.hands import STROKE_SETS
from sheet_reader.lab.sets import find_data
from sheet_reader.lab.writers import CHECKED, WRITER_MODEL, writers_in
from sheet_reader.simulate.cases import Desk, make_case
from sheet_reader.simulate.ink import random_ink_pen
from sheet_reader.simulate.sources import ProceduralHands


@pytest.fixture(scope="module")
def easy():
    desk = Desk.of_samples(ProceduralHands())
    return desk, make_case(desk, "bean_tips", "easy", 4, bare_share=0.0)


def test_checked_fields_are_those_that_only_their_confidence_decides(easy):
    desk, case = easy
    fields = calibrate.checked_fields(case, desk)
    written = case.truth.sheets[0].fields
    assert 0.7 * len(written) <= len(fields) <= len(written)
    assert all(0.0 <= score <= 1.0 for score, _, _ in fields)
    assert np.mean([right for _, right, _ in fields]) > 0.8
    assert {person for _, _, person in fields} == {""}  # the procedural hand is no one's


def test_the_table_has_a_line_for_each_rule(easy):
    desk, case = easy
    scores = rules_table.scores_by_rules(case, desk, threshold=0.9)
    assert all(s.found == 1 and s.fields == scores[0].fields > 0 for s in scores)
    lines = rules_table.table(scores)
    assert [line.split("  ")[0] for line in lines[1:-1]] == [n for n, _ in rules_table.MEASURED]


def test_checked_fields_and_the_writer_model_come_from_their_own_writers():
    place = find_data()
    if place is None:
        pytest.skip("the handwriting data (shared/data) are not here")
    for module, role in ((calibrate, CHECKED), (fit_writer, WRITER_MODEL)):
        module._start(place)
        rng = np.random.default_rng(2)
        pen = random_ink_pen(8.0, rng)
        seen = {module._desk.hands.writer(pen, rng).person for _ in range(40)}
        titles = {title: name for name, title in [*STROKE_SETS.items(), ("mnist", "MNIST")]}
        for person in seen:
            title, writer = person.split()
            assert writer in writers_in(titles[title], role)
        assert len(seen) > 12


def test_the_fit_sees_only_true_digits():
    place = find_data()
    if place is None:
        pytest.skip("the handwriting data (shared/data) are not here")
    fit_writer._start(place)
    probabilities, digits = fit_writer._run(0)
    assert probabilities.shape == (len(digits), 14)
    assert len(digits) > 10
    assert set(digits.tolist()) <= set(range(10))
    assert (probabilities.argmax(axis=1) == digits).mean() > 0.8


def test_a_made_up_past_is_near_the_true_counts_and_the_same_each_time(easy):
    sheet = easy[1].truth.sheets[0]
    past = rules_table.made_up_past(sheet)
    assert past == rules_table.made_up_past(sheet)
    assert list(past) == [sheet.site]
    for field in sheet.fields:
        if field.value and field.value.isdigit():
            earlier = past[sheet.site][field.field]
            assert len(earlier) == rules_table.EARLIER
            # Poisson of a gamma rate: standard deviation sqrt(2 (count + 1)); six of them
            assert abs(np.mean(earlier) - int(field.value)) < 6 * np.sqrt(
                2 * (int(field.value) + 1)
            )
