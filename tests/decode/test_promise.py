import numpy as np
import pytest
from scipy import stats

from sheet_reader.decode.promise import (
    GRID,
    START,
    Checked,
    NoPromise,
    Promise,
    loosest,
    pilot_start,
    promise_from,
)


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
        got = promise_from(Checked(scores[fit], correct[fit]), allowed_error=0.005, delta=0.05)
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
        got = promise_from(data, allowed_error=0.004, delta=0.05)
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
    got = promise_from(Checked.of(np.full(len(names), 0.9999), correct, writers=names), 0.002)
    assert got.wrong == 0
    assert got.checked == 80 * 60


@pytest.mark.parametrize("enough", [2995, 2994])
def test_2995_right_ones_and_no_fewer_show_one_in_a_thousand(enough):
    # zero errors needed for a one-sided 95 % bound under 0.1 %: exact binomial, references.md
    got = loosest(Checked.of(np.ones(enough), np.ones(enough, bool)), 0.001)
    assert isinstance(got, Promise if enough == 2995 else NoPromise)


def test_without_data_it_says_what_is_missing():
    got = loosest(Checked.of([], []), 0.001)
    assert isinstance(got, NoPromise)
    assert got.missing == 2995
    assert got.sentence == (
        "No promise yet: nothing checked; to be 95 % sure of at most 0.1 %, 2,995 more must be "
        "checked and found right."
    )


def test_a_promise_is_said_in_words():
    got = loosest(Checked.of(np.ones(4000), np.ones(4000, bool)), 0.001, basis="your own readings")
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
    got = promise_from(Checked(sharp, correct), 0.001)
    assert isinstance(got, NoPromise)
    assert "clearly more than 0.1 %" in got.reason


def test_a_pilot_without_data_starts_at_the_default():
    assert pilot_start(Checked.of([], [])) == START


def test_unequal_lengths_are_refused():
    with pytest.raises(ValueError, match="2 scores but 1 answers"):
        Checked.of([0.1, 0.2], [True])
