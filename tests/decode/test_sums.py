import itertools
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from thorough import every, examples, or_fewer

from sheet_reader.decode.posteriors import NumberPosterior
from sheet_reader.decode.sheet import Rules, decode_sheet
from sheet_reader.decode.sums import addition_error_shares, apply_sums, settled, sum_messages
from sheet_reader.reasons import Code, has
from sheet_reader.study.study import SumRule
from sheet_reader.wording import words

CASES = tomllib.loads(Path(__file__).with_name("sums.toml").read_text(encoding="utf-8"))["case"]
OF_SUMS = (Code.SUM_OFF, Code.PARTS_EXCEED)
FIELDS = ("a.total", "a.eggs", "a.small", "a.large")


@pytest.mark.parametrize("case", CASES, ids=[c["name"] for c in CASES])
def test_cases(case, beans, written, stated, today):
    states = dict(zip(FIELDS, [case["total"], *case["parts"]], strict=True))
    filled = written(beans, states)
    page = decode_sheet(filled.view(), stated(filled.flat(), 0.99999), beans, today, threshold=0.99)
    fields = {f.field: f for f in page.fields}
    for name, expected in zip(FIELDS, case["expect"], strict=True):
        value, status = expected.split()
        assert fields[name].status == status, (name, fields[name])
        assert value in ("*", fields[name].value or "-"), (name, fields[name])
        if "question" in case:
            assert case["question"] in words(fields[name].reasons)
        else:
            assert not has(fields[name].reasons, *OF_SUMS)


def test_without_the_rule_nothing_is_asked(beans, written, stated, today):
    filled = written(beans, dict(zip(FIELDS, ["_14", "_2", "10", "_0"], strict=True)))
    rules = Rules.ALL & ~Rules.SUMS
    page = decode_sheet(filled.view(), stated(filled.flat()), beans, today, rules=rules)
    assert {f.status for f in page.fields} == {"accepted"}


PAIRS = list(itertools.permutations(range(10), 2))


def doubtful(digit, other, sure):
    """A box that spells ``digit`` with this probability, and leaves the rest to ``other``."""
    return {str(digit): sure, str(other): 1 - sure - 0.00001}


@pytest.fixture
def decoded(beans, written, stated, today):
    def run(total, *parts, threshold=None):
        filled = written(beans, dict(zip(FIELDS, [total, *parts], strict=True)))
        readings = stated(filled.flat(), 0.99999)
        page = decode_sheet(filled.view(), readings, beans, today, threshold=threshold)
        found = {f.field: f for f in page.fields}
        return {name: found[name] for name in FIELDS}

    return run


def test_a_total_of_18_with_its_8_at_0985_is_not_made_13(decoded):
    fields = decoded(["_", "1", doubtful(8, 3, 0.985)], "_3", "10", "_0")
    assert [f.value for f in fields.values()] == ["18", "3", "10", "0"]
    assert {f.status for f in fields.values()} == {"flagged"}
    for field in fields.values():
        assert "total 18, parts add to 13: which is right?" in words(field.reasons)
        assert field.reasons[0]["fields"] == FIELDS


@pytest.mark.parametrize("sure", every(2, [0.9, 0.95, 0.985, 0.99, 0.997]))
@pytest.mark.parametrize("threshold", [None, 0.95])
def test_no_clear_digit_of_a_total_or_part_is_rewritten(decoded, sure, threshold):
    for a, b in PAIRS:
        total = decoded(["_", "1", doubtful(a, b, sure)], f"_{b}", "10", "_0", threshold=threshold)
        assert [f.value for f in total.values()] == [f"1{a}", str(b), "10", "0"]
        part = decoded(f"_1{b}", ["_", doubtful(a, b, sure)], "10", "_0", threshold=threshold)
        assert [f.value for f in part.values()] == [f"1{b}", str(a), "10", "0"]
        assert {f.status for f in (*total.values(), *part.values())} == {"flagged"}


def test_a_disputed_sum_moves_no_field_of_another_sum():
    """total = a + b cannot be had without overruling; a = c + d can be settled by itself."""
    shares = {
        "total": {9: 1.0},
        "a": {3: 0.999, 5: 0.001},
        "b": {4: 1.0},
        "c": {7: 0.6, 2: 0.4},
        "d": {1: 1.0},
    }
    posteriors = {n: posterior([of.get(v, 0.0) for v in range(10)]) for n, of in shares.items()}
    rules = [SumRule("total", ("a", "b")), SumRule("a", ("c", "d"))]
    after, found = settled(rules, posteriors, posteriors)
    assert [f.disputed for f in found] == [True, False]
    assert after["c"].ranked()[0][0] == 2
    assert after["a"].probability(5) < 0.001
    assert "total" not in after


def distributions(longest):
    return st.lists(st.floats(0.01, 1.0), min_size=2, max_size=longest).map(
        lambda weights: np.array(weights) / sum(weights)
    )


@cache
def harmonic(size):
    return sum(1 / k for k in range(1, size))


def share_of_slip(d, size):
    """q(d) as the module's docstring tells it, term by term, for totals below ``size``."""
    places = [10**j for j in range(len(str(size - 1)))]
    near = {1: 0.10, 2: 0.04, 10: 0.06, 100: 0.02}.get(abs(d), 0.0)
    one_digit = sum(abs(d) == k * p for k in range(1, 10) for p in places) * 0.18
    swapped = sum(abs(d) == 9 * k * p for k in range(1, 10) for p in places) * 0.10
    anything = 1 - 2 * (0.10 + 0.04 + 0.06 + 0.02) - 0.18 - 0.10 - 0.16
    return (
        near
        + (one_digit + swapped) / 2 / (9 * len(places))
        + 0.16 / 2 / abs(d) / harmonic(size)
        + anything / 2 / (size - 1)
    )


def kernel(total, parts_sum, size):
    """P(total | the parts add to this), written out by hand: not the code under test."""
    wrong = total != parts_sum
    return 0.03 * share_of_slip(total - parts_sum, size) if wrong else 0.97


def enumerated(total, parts, size):
    """Marginals and probability of an addition error by plain enumeration of every assignment."""
    marginals = [np.zeros(len(d)) for d in (total, *parts)]
    right = everything = 0.0
    for values in itertools.product(*(range(len(d)) for d in (total, *parts))):
        t, x = values[0], sum(values[1:])
        prior = total[t] * np.prod([d[v] for d, v in zip(parts, values[1:], strict=True)])
        mass = prior * kernel(t, x, size)
        right += mass if t == x else 0.0
        everything += mass
        for marginal, v in zip(marginals, values, strict=True):
            marginal[v] += mass
    return [m / everything for m in marginals], 1 - right / everything


def test_every_kind_of_wrong_sum_is_foreseen():
    """Neighbours swapped, a digit changed, a carry, a part left out: none is next to impossible,
    and together they are no more than certain.
    """
    q = addition_error_shares(1000)
    assert q[0] == 0.0
    assert 0.9 < 2 * q.sum() <= 1.0 + 1e-12
    for d in (1, 5, 9, 10, 27, 40, 90, 100, 270, 500):
        assert q[d] > 10 * q[613]


@settings(max_examples=examples(40), deadline=None)
@given(distributions(12), st.lists(distributions(5), min_size=1, max_size=3))
def test_convolution_equals_enumeration(total, parts):
    messages, addition_error = sum_messages(total, parts)
    size = max(len(total), sum(len(p) - 1 for p in parts) + 1)
    expected, expected_slip = enumerated(total, parts, size)
    for own, message, marginal in zip((total, *parts), messages, expected, strict=True):
        posterior = own * message
        assert posterior / posterior.sum() == pytest.approx(marginal, abs=1e-9)
    assert addition_error == pytest.approx(expected_slip, abs=1e-9)


def posterior(probabilities):
    probs = np.array(probabilities)
    nothing = np.zeros(len(probs))
    values = np.arange(len(probs))
    return NumberPosterior(np.zeros((1, 14)), values, probs, nothing, nothing, 0.0, 0.0, 0.0)


def test_a_field_in_two_sums_hears_from_both():
    """total = a + b and a = c + d: a chain, so the messages give the exact marginals."""
    rng = np.random.default_rng(5)
    names = {"total": 9, "a": 5, "b": 4, "c": 3, "d": 3}
    posteriors = {n: posterior(rng.dirichlet(np.ones(k))) for n, k in names.items()}
    rules = [SumRule("total", ("a", "b")), SumRule("a", ("c", "d"))]
    after, _ = apply_sums(rules, posteriors)
    marginals = {n: np.zeros(k) for n, k in names.items()}
    for values in itertools.product(*(range(k) for k in names.values())):
        v = dict(zip(names, values, strict=True))
        mass = np.prod([posteriors[n].probs[v[n]] for n in names])
        for rule in rules:
            size = {"total": 9, "a": 5}[rule.total]
            mass *= kernel(v[rule.total], sum(v[p] for p in rule.parts), size)
        for n in names:
            marginals[n][v[n]] += mass
    for n in names:
        assert after[n].probs == pytest.approx(marginals[n] / marginals[n].sum(), abs=1e-9)


def test_long_fields_use_the_fast_transform_with_the_same_result():
    rng, slips = np.random.default_rng(6), or_fewer(12, 5)
    total, parts = np.zeros(9000), [np.zeros(3000), np.zeros(2500)]
    for table in (total, *parts):
        table[rng.integers(0, len(table), slips)] = rng.random(slips)
        table /= table.sum()
    messages, _ = sum_messages(total, parts)
    size = 9000
    shares = np.array([share_of_slip(d, size) if d else 0.0 for d in range(size)])
    expected = np.zeros(size)
    for (i, p), (j, q) in itertools.product(*(_nonzero(part) for part in parts)):
        expected[i + j] += 0.97 * p * q
        expected += 0.03 * p * q * shares[np.abs(np.arange(size) - i - j)]
    assert messages[0] == pytest.approx(expected / expected.max(), abs=1e-9)


def _nonzero(table):
    return [(int(i), table[i]) for i in np.flatnonzero(table)]
