from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from sheet_reader.decode.audits import Checked
from sheet_reader.decode.error_share import at_most_clustered
from sheet_reader.decode.promise import (
    NoPromise,
    Promise,
    default_threshold,
    shipped_promise,
    shipped_table,
)
from sheet_reader.lab.calibration_file import shipped_calibration
from sheet_reader.lab.promise_table import GRID, START, from_start, pilot_start, table_of


def population(rng, n, sharpen=1.0):
    """Confidences as the decoder gives them, and whether each reading is right.

    The true probability of being right is a mixture: nine in ten fields are clear, the rest
    doubtful. ``sharpen`` multiplies the log-odds that are reported.
    """
    clear = rng.random(n) < 0.9
    log_odds = np.where(clear, rng.normal(11, 2, n), rng.normal(3, 2, n))
    correct = rng.random(n) < 1 / (1 + np.exp(-log_odds))
    return 1 / (1 + np.exp(-log_odds * sharpen)), correct


def test_the_promise_holds_in_all_but_a_share_of_delta_of_random_splits():
    rng = np.random.default_rng(1)
    scores, correct = population(rng, 120_000, sharpen=1.3)
    broken = given = 0
    for _ in range(200):
        order = rng.permutation(len(scores))
        fit, rest = order[:4000], order[4000:]
        got = table_of(Checked(scores[fit], correct[fit]), most=0.005).loosest(0.005)
        if isinstance(got, Promise):
            given += 1
            kept = rest[scores[rest] >= got.threshold]
            broken += (~correct[kept]).mean() > 0.005
    assert given > 150  # the method is of use …
    assert broken <= stats.binom.ppf(0.999, 200, 0.05)  # … and keeps its word


def test_the_coverage_test_would_notice_a_threshold_without_a_bound():
    """The same splits, choosing the loosest threshold that merely looks good, break the promise."""
    rng = np.random.default_rng(1)
    scores, correct = population(rng, 120_000, sharpen=1.3)
    broken = 0
    for _ in range(200):
        order = rng.permutation(len(scores))
        fit, rest = order[:4000], order[4000:]
        data = Checked(scores[fit], correct[fit])
        looks_good = [t for t in GRID if data.at(t)[0] <= 0.005 * data.at(t)[1]]
        kept = rest[scores[rest] >= min(looks_good)]
        broken += (~correct[kept]).mean() > 0.005
    assert broken > stats.binom.ppf(0.999, 200, 0.05)


def odd_people(rng, people, each=40):
    """Fields by people, one in fifty with a hand of which the reader misreads every seventh field
    with the same confidence as others.
    """
    number = np.repeat(np.arange(people), each)
    scores, correct = population(rng, people * each)
    odd = (rng.random(people) < 0.02)[number]
    misread = rng.random(len(scores)) < 0.15
    return scores, correct & ~(odd & misread), number


def _broken(by_person):
    rng = np.random.default_rng(5)
    scores, correct, number = odd_people(rng, 4000)
    broken = given = 0
    for _ in range(200):
        chosen = rng.permutation(4000)[:300]
        fit = np.isin(number, chosen)
        who = number[fit].astype(str) if by_person else None
        data = Checked.of(scores[fit], correct[fit], writers=who)
        got = table_of(data, most=0.004).loosest(0.004)
        if isinstance(got, Promise):
            given += 1
            kept = ~fit & (scores >= got.threshold)
            broken += (~correct[kept]).mean() > 0.004
    return broken, given


def test_the_promise_holds_where_errors_come_by_people():
    """200 random splits by people: kept where people count, broken where only fields do."""
    most = stats.binom.ppf(0.999, 200, 0.05)
    broken, given = _broken(by_person=True)
    assert broken <= most
    assert given > 0
    assert _broken(by_person=False)[0] > most


def test_the_fields_of_one_person_choose_the_start_or_are_tested_never_both():
    # the fifth person (in the order of the names) chooses; all errors are hers
    names = np.repeat([f"person {n:02}" for n in range(100)], 60)
    correct = np.ones(len(names), bool)
    correct[names == "person 05"] = False
    got = table_of(Checked.of(np.full(len(names), 0.9999), correct, writers=names)).loosest(0.002)
    assert got.wrong == 0
    assert got.checked == 80 * 60


@pytest.mark.parametrize("enough", [2995, 2994])
def test_2995_right_ones_and_no_fewer_show_one_in_a_thousand(enough):
    # zero errors needed for a one-sided 95 % bound under 0.1 %: exact binomial, references.md
    got = from_start(Checked.of(np.ones(enough), np.ones(enough, bool))).loosest(0.001)
    assert isinstance(got, Promise if enough == 2995 else NoPromise)


def test_without_data_it_says_what_is_missing():
    got = from_start(Checked.of([], [])).loosest(0.001)
    assert isinstance(got, NoPromise)
    assert got.missing == 2995
    assert got.sentence == (
        "No promise yet: nothing checked; to be 95 % sure of at most 0.1 %, 2,995 more must be "
        "checked and found right."
    )


def test_a_promise_is_said_in_words():
    right = Checked.of(np.ones(4000), np.ones(4000, bool))
    got = from_start(right).loosest(0.001, "your own readings")
    assert isinstance(got, Promise)
    assert got.sentence == (
        "At most 0.1 % of the accepted fields are wrong, with 95 % confidence: 0 of 4,000 "
        "checked ones were wrong, so at most 0.075 % (your own readings)."
    )


def test_a_network_too_sure_of_itself_gets_no_promise():
    rng = np.random.default_rng(2)
    scores, correct = population(rng, 6000)
    sharp = 1 - (1 - scores) ** 6  # doubts of 1 in 10 reported as 1 in a million
    correct &= rng.random(6000) < 0.99
    got = table_of(Checked(sharp, correct)).loosest(0.001)
    assert isinstance(got, NoPromise)
    assert "clearly more than 0.1 %" in got.reason


def test_a_pilot_without_data_starts_at_the_default():
    assert pilot_start(Checked.of([], [])) == START


def test_unequal_lengths_are_refused():
    with pytest.raises(ValueError, match="2 scores but 1 answers"):
        Checked.of([0.1, 0.2], [True])


def test_the_shipped_table_is_what_the_checked_fields_give():
    """After new calibration data, thresholds or statistics: ``lab.promise_table`` makes it anew."""
    computed, shipped = table_of(shipped_calibration()), shipped_table()
    assert [replace(row, bound=0.0) for row in shipped.tested] == [
        replace(row, bound=0.0) for row in computed.tested
    ]
    assert [row.bound for row in shipped.tested] == pytest.approx(
        [row.bound for row in computed.tested], rel=1e-7
    )
    assert replace(shipped, tested=(), lower=0.0) == replace(computed, tested=(), lower=0.0)
    assert shipped.lower == pytest.approx(computed.lower)


@pytest.mark.parametrize("allowed_error", [0.0005, 0.001, 0.0021, 0.006])
def test_the_shipped_promise_keeps_to_the_tests_of_its_thresholds(allowed_error):
    """The p-values themselves (exact tail of clustered counts), in the order of testing."""
    data = shipped_calibration()
    people = np.unique(data.writers, return_inverse=True)[1]
    tested = data.part(people % 5 != 0)
    held = []
    for row in shipped_table().tested:
        wrong, _ = tested.at(row.threshold)
        people = tested.people(row.threshold)
        if at_most_clustered(wrong, people, allowed_error) > shipped_table().delta:
            break
        held.append(row.threshold)
    got = shipped_table().loosest(allowed_error)
    assert isinstance(got, Promise) == bool(held)
    if held:
        assert got.threshold == held[-1]


@pytest.mark.parametrize("allowed_error", [0.0005, 0.001, 0.005])
def test_the_default_threshold_is_that_of_the_shipped_promise(allowed_error):
    assert default_threshold(allowed_error) == shipped_promise(allowed_error).threshold
    assert 0.6 < default_threshold(allowed_error) <= 1.0
