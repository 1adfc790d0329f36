"""How many accepted fields an audit looks at, what it can say about the threshold, and what not."""

from functools import cache

import numpy as np
import pytest
from scipy import stats

from sheet_reader.decode.audits import (
    AQLS,
    LETTERS,
    Checked,
    code_letter,
    nearest_aql,
    odd_sites,
    promise_for,
    sampling_plan,
)
from sheet_reader.decode.error_share import upper_bound_clustered
from sheet_reader.decode.promise import (
    SHIPPED,
    NoPromise,
    Promise,
    default_threshold,
    shipped_table,
)
from sheet_reader.lab.promise_table import table_of


def population(rng, n, sharpen=1.0):
    """Confidences as the decoder gives them, and whether each reading is right.

    The true probability of being right is a mixture: nine in ten fields are clear, the rest
    doubtful. ``sharpen`` multiplies the log-odds that are reported.
    """
    clear = rng.random(n) < 0.9
    log_odds = np.where(clear, rng.normal(11, 2, n), rng.normal(3, 2, n))
    correct = rng.random(n) < 1 / (1 + np.exp(-log_odds))
    return 1 / (1 + np.exp(-log_odds * sharpen)), correct


def test_own_readings_withdraw_a_shipped_promise_that_does_not_hold():
    rng = np.random.default_rng(3)
    shipped = table_of(Checked.of(*population(rng, 30_000)))
    assert isinstance(shipped.promise(0.002), Promise)
    own_scores, own_correct = population(rng, 1500)
    own = Checked(1 - (1 - own_scores) ** 6, own_correct)
    got = promise_for(0.002, shipped, own)
    assert isinstance(got, NoPromise)
    assert "does not hold for your photographs" in got.reason
    assert got.threshold > own.scores[~own.correct].max()


def test_few_own_readings_without_errors_leave_the_shipped_promise_and_say_so():
    rng = np.random.default_rng(3)
    shipped = table_of(Checked.of(*population(rng, 30_000)))
    got = promise_for(0.002, shipped, Checked.of(np.ones(100), np.ones(100, bool)))
    assert isinstance(got, Promise)
    assert "1,397 more to promise on those alone" in got.sentence


def test_enough_own_readings_decide_alone():
    rng = np.random.default_rng(3)
    shipped = table_of(Checked.of(*population(rng, 30_000)))
    own = Checked.of(*population(rng, 20_000))
    got = promise_for(0.002, shipped, own)
    assert isinstance(got, Promise)
    assert got.basis == "your own readings"
    assert got.checked <= 20_000


def test_own_readings_alone_can_promise_where_the_shipped_ones_cannot():
    nothing = table_of(Checked.of([], []))
    got = promise_for(0.001, nothing, Checked.of(np.ones(4000), np.ones(4000, bool)))
    assert isinstance(got, Promise)
    assert isinstance(nothing.promise(0.001), NoPromise)


def test_where_nothing_is_promised_the_best_weaker_promise_sets_the_threshold():
    rng = np.random.default_rng(8)
    shipped = table_of(Checked.of(*population(rng, 2500)))
    got = shipped.promise(0.001)
    assert isinstance(got, NoPromise)
    assert got.sentence.endswith("% can be promised meanwhile.")
    weaker = [shipped.loosest(0.001 * factor) for factor in (10, 5, 3, 2, 1.5)]
    assert got.threshold in [w.threshold for w in weaker if isinstance(w, Promise)]


def right_ones(n, sites, floor=None, score=0.9999999):
    """``n`` audited fields, all right, spread evenly over ``sites``."""
    floors = None if floor is None else np.full(n, floor)
    names = (np.arange(n) % sites).astype(str)
    return Checked.of(np.full(n, score), np.ones(n, bool), floors=floors, writers=names)


def test_3000_right_of_3000_audited_accepted_fields_open_no_gate():
    shipped = shipped_table()
    in_force = shipped.promise(0.001).threshold
    assert in_force == default_threshold(0.001) >= 0.958 - 0.0005
    for own in (
        Checked.of(np.ones(3000), np.ones(3000, bool)),
        right_ones(3000, 3000),
        right_ones(3000, 3000, floor=in_force),
        right_ones(3000, 150),
        right_ones(60_000, 3000, floor=in_force),
    ):
        assert promise_for(0.001, shipped, own).threshold == in_force


def test_as_clean_as_accepted_fields_are_nothing_looser_is_promised():
    """Audits of a reader that errs just below the threshold in force: the errors can't be drawn."""
    shipped = shipped_table()
    in_force = shipped.promise(0.001).threshold
    rng = np.random.default_rng(4)
    scores = 1 - 10 ** -rng.uniform(1.0, 6.0, 40_000)
    correct = np.where(scores >= in_force, True, rng.random(len(scores)) < 0.8)
    drawn = scores >= in_force
    own = Checked.of(
        scores[drawn], correct[drawn], np.arange(drawn.sum()), np.full(drawn.sum(), in_force)
    )
    got = promise_for(0.001, shipped, own)
    assert isinstance(got, Promise)
    assert (~correct[scores >= got.threshold]).mean() <= 0.001


def test_one_visit_however_often_looked_at_promises_nothing_by_itself():
    shipped = shipped_table()
    got = promise_for(0.001, shipped, right_ones(3000, 1, floor=0.9))
    assert isinstance(got, Promise)
    assert got.threshold == shipped.promise(0.001).threshold
    assert got.basis.startswith(f"{SHIPPED}; 0 of 3,000 of your own")
    assert "your own readings" not in got.sentence


def test_fields_of_one_site_count_for_less_than_independent_ones():
    shipped = shipped_table()
    floor = shipped.promise(0.001).threshold
    apart = promise_for(0.001, shipped, right_ones(4000, 4000, floor))
    assert isinstance(apart, Promise)
    assert apart.basis == "your own readings, from 4,000 sites"
    together = promise_for(0.001, shipped, right_ones(4000, 40, floor))
    assert isinstance(together, Promise)
    assert together.basis.startswith(f"{SHIPPED}; ")
    many = promise_for(0.001, shipped, right_ones(40_000, 400, floor))
    assert isinstance(many, Promise)
    assert many.basis == "your own readings, from 400 sites"
    assert many.bound == pytest.approx(upper_bound_clustered(0, [100] * 400))


def test_one_wrong_of_forty_is_no_reason_to_withdraw_but_twelve_of_four_hundred_are():
    shipped = shipped_table()
    floor = shipped.promise(0.001).threshold
    few, many = right_ones(40, 20, floor), right_ones(400, 40, floor)
    few.correct[0] = False
    many.correct[:12] = False
    assert isinstance(promise_for(0.001, shipped, few), Promise)
    assert isinstance(promise_for(0.001, shipped, many), NoPromise)


def test_a_site_misread_far_more_often_than_others_is_named():
    own = right_ones(400, 10)
    own.correct[own.writers == "3"] = np.arange(40) >= 5
    own.correct[0] = False
    assert odd_sites(own) == [("3", 5, 40)]


def test_right_fields_accepted_under_a_stricter_threshold_say_nothing_about_a_looser_one():
    """Six errors withdrew the promise; later photos were read under 0.9999 and proved right."""
    shipped = shipped_table()
    in_force = shipped.promise(0.001).threshold
    early = right_ones(400, 400, floor=in_force)
    early.correct[:6], early.scores[:6] = False, in_force + 0.001
    assert isinstance(promise_for(0.001, shipped, early), NoPromise)
    late = right_ones(20_000, 20_000, floor=0.9999)
    both = Checked.of(
        **{
            name: np.concatenate([getattr(early, name), getattr(late, name)])
            for name in ("scores", "correct", "floors")
        }
    )
    got = promise_for(0.001, shipped, both)
    assert isinstance(got, NoPromise)
    assert got.checked == 400
    assert got.threshold >= 0.999


def test_one_odd_hand_among_many_is_named_and_takes_no_promise_from_the_others():
    shipped = shipped_table()
    own = right_ones(1200, 30, floor=shipped.promise(0.001).threshold)
    own.correct[own.writers == "3"] = np.arange(40) >= 20
    got = promise_for(0.001, shipped, own)
    assert isinstance(got, Promise)
    assert got.basis.endswith("; without 3, misread often")
    alone = own.part(np.isin(own.writers, ["3", "4"]))
    assert isinstance(promise_for(0.001, shipped, alone), NoPromise)


def test_an_own_promise_given_on_exactly_bad_fields_is_rare():
    """Independent errors at 0.1 %, audited once: promised in at most 5 % of repeats, as said."""
    shipped = shipped_table()
    rng = np.random.default_rng(9)
    floor = shipped.promise(0.001).threshold

    @cache  # all fields are alike, each of a site of its own: how many are wrong is all that counts
    def is_given(wrong):
        own = right_ones(5000, 5000, floor)
        own.correct[rng.permutation(5000)[:wrong]] = False
        got = promise_for(0.001, shipped, own)
        return isinstance(got, Promise) and got.basis.startswith("your own")

    repeats = (rng.random((300, 5000)) < 0.001).sum(axis=1)
    assert len(set(repeats)) > 10
    assert sum(is_given(wrong) for wrong in repeats) <= stats.binom.ppf(0.999, 300, 0.05)


# ISO 2859-1, single sampling, level II, normal, AQL 1.0 (read, references.md)
READ = [(281, 500, "H", 50, 1), (501, 1200, "J", 80, 2), (1201, 3200, "K", 125, 3)]


@pytest.mark.parametrize(("first", "last", "letter", "sample", "accept"), READ)
def test_plans_of_the_standard(first, last, letter, sample, accept):
    for lot in (first, last):
        plan = sampling_plan(lot, 1.0)
        assert (plan.letter, plan.sample, plan.accept) == (letter, sample, accept)
    assert code_letter(first - 1) != letter != code_letter(last + 1)


@pytest.mark.parametrize(("n", "c", "chance"), [(50, 1, 0.9106), (80, 2, 0.9534), (125, 3, 0.9626)])
def test_acceptance_probability_at_one_per_cent(n, c, chance):
    # computed with scipy (references.md)
    plan = next(p for p in (sampling_plan(lot, 1.0) for _, lot, *_ in READ) if p.sample == n)
    assert plan.accept == c
    assert stats.binom.cdf(plan.accept, n, 0.01) == pytest.approx(chance, abs=5e-5)


def test_the_chance_to_pass_at_the_limit_is_high_for_every_plan():
    """The table's own aim: a lot exactly at the AQL is accepted more often than not (> 87 %)."""
    for aql in AQLS:
        for lot in (10, 100, 400, 1000, 3000, 9000, 30_000, 200_000):
            plan = sampling_plan(lot, aql)
            if plan.sample < lot:
                assert stats.binom.cdf(plan.accept, plan.sample, aql / 100) > 0.87


def test_small_lots_are_looked_at_whole():
    plan = sampling_plan(40, 0.10)
    assert (plan.sample, plan.accept) == (40, 0)
    assert plan.accepts(0)
    assert not plan.accepts(1)


def test_the_largest_aql_not_above_the_promise():
    assert nearest_aql(0.001) == 0.10
    assert nearest_aql(0.0099) == 0.65
    assert nearest_aql(0.00001) == 0.010


def test_letters_and_sizes_grow_together():
    plans = [sampling_plan(lot, aql) for aql in AQLS for lot in (4**k for k in range(1, 11))]
    sizes = {plan.letter: plan.sample for plan in plans if plan.sample < plan.lot}
    letters = sorted(sizes, key=LETTERS.index)
    assert len(letters) > 10
    assert [sizes[letter] for letter in letters] == sorted(sizes.values())


def test_what_has_no_plan_is_refused():
    with pytest.raises(ValueError, match="no plan"):
        sampling_plan(100, 0.3)
    with pytest.raises(ValueError, match="at least two"):
        code_letter(1)


def test_where_the_last_letter_points_on_the_plan_is_that_of_r():
    # from memory, the master table's last row: letter R, 2,000, accept 1 at AQL 0.025
    plan = sampling_plan(600_000, 0.025)
    assert (plan.letter, plan.sample, plan.accept) == ("R", 2000, 1)
    assert sampling_plan(600_000, 0.015).letter == "P"  # the arrow upwards: 800, accept 0
    assert sampling_plan(600_000, 0.010).letter == "Q"
