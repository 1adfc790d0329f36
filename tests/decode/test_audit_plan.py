import pytest
from scipy import stats

from sheet_reader.decode.audit_plan import (
    AQLS,
    LETTERS,
    acceptance_probability,
    code_letter,
    nearest_aql,
    sample_size,
    sampling_plan,
)

# ISO 2859-1, single sampling, level II, normal, AQL 1.0 (read, references.md)
READ = [(281, 500, "H", 50, 1), (501, 1200, "J", 80, 2), (1201, 3200, "K", 125, 3)]


@pytest.mark.parametrize(("first", "last", "letter", "sample", "accept"), READ)
def test_plans_of_the_standard(first, last, letter, sample, accept):
    for lot in (first, last):
        plan = sampling_plan(lot, 1.0)
        assert (plan.letter, plan.sample, plan.accept, plan.reject) == (
            letter, sample, accept, accept + 1,
        )  # fmt: skip
    assert code_letter(first - 1) != letter != code_letter(last + 1)


@pytest.mark.parametrize(("n", "c", "chance"), [(50, 1, 0.9106), (80, 2, 0.9534), (125, 3, 0.9626)])
def test_acceptance_probability_at_one_per_cent(n, c, chance):
    # computed with scipy (references.md)
    assert acceptance_probability(n, c, 0.01) == pytest.approx(chance, abs=5e-5)
    assert acceptance_probability(n, c, 0.01) == pytest.approx(stats.binom.cdf(c, n, 0.01))


def test_the_chance_to_pass_at_the_limit_is_high_for_every_plan():
    """The table's own aim: a lot exactly at the AQL is accepted more often than not (> 87 %)."""
    for aql in AQLS:
        for lot in (10, 100, 400, 1000, 3000, 9000, 30_000, 200_000):
            plan = sampling_plan(lot, aql)
            if plan.sample < lot:
                assert acceptance_probability(plan.sample, plan.accept, aql / 100) > 0.87


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
    sizes = [sample_size(letter) for letter in LETTERS]
    assert sizes == sorted(sizes)


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
