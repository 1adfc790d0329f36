import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sheet_reader.decode.binomial import (
    ObservedError,
    at_most,
    checks_needed,
    clopper_pearson,
    percent,
    upper_bound,
)


def test_nist_example():
    # NIST/SEMATECH e-Handbook of Statistical Methods 7.2.4.1: 4 of 20, 90 %
    assert clopper_pearson(4, 20, 0.90) == pytest.approx((0.07135, 0.40103), abs=5e-6)


@given(st.integers(1, 3000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_against_scipy(case):
    wrong, checked = case
    expected = stats.binomtest(wrong, checked).proportion_ci(0.95, "exact")
    assert clopper_pearson(wrong, checked) == pytest.approx(tuple(expected), abs=1e-9)
    assert at_most(wrong, checked, 0.01) == pytest.approx(stats.binom.cdf(wrong, checked, 0.01))


@pytest.mark.parametrize(
    ("share", "needed"), [(0.01, 299), (0.005, 598), (0.002, 1497), (0.001, 2995)]
)
def test_zero_errors_needed(share, needed):
    # exact binomial, one-sided 95 % (references.md)
    assert checks_needed(share) == needed
    assert upper_bound(0, needed) <= share < upper_bound(0, needed - 1)


@given(st.integers(0, 40), st.sampled_from([0.001, 0.01, 0.1]))
def test_checks_needed_is_the_smallest(wrong, share):
    needed = checks_needed(share, 0.05, wrong)
    assert at_most(wrong, needed, share) <= 0.05 < at_most(wrong, needed - 1, share)


def test_sentences():
    assert ObservedError(0, 315).sentence == "0 of 315 wrong: at most 0.95 % with 95 % confidence"
    assert ObservedError(0, 0).sentence == "nothing checked yet"
    assert ObservedError(2, 2).upper == 1.0
    assert ObservedError(4, 20, 0.9).interval == pytest.approx((0.07135, 0.40103), abs=5e-6)


@pytest.mark.parametrize(
    ("share", "text"), [(0.0, "0 %"), (0.00094652, "0.095 %"), (0.0123, "1.3 %"), (0.5, "50 %")]
)
def test_percentages_are_never_rounded_down(share, text):
    assert percent(share) == text
