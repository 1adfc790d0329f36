import itertools
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheet_reader.decode.beliefs import NumberBelief
from sheet_reader.decode.rules import Rules
from sheet_reader.decode.sheet import decode_sheet
from sheet_reader.decode.sums import SLIP, _slipped, apply_sums, sum_messages
from sheet_reader.study.model import SumRule

CASES = tomllib.loads(Path(__file__).with_name("sums.toml").read_text(encoding="utf-8"))["case"]
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
            assert case["question"] in fields[name].reason
            assert set(fields[name].together) == set(FIELDS)
        else:
            assert fields[name].together == ()


def test_without_the_rule_nothing_is_asked(beans, written, stated, today):
    filled = written(beans, dict(zip(FIELDS, ["_14", "_2", "10", "_0"], strict=True)))
    rules = Rules.ALL & ~Rules.SUMS
    page = decode_sheet(filled.view(), stated(filled.flat()), beans, today, rules=rules)
    assert {f.status for f in page.fields} == {"accepted"}


def distributions(longest):
    return st.lists(st.floats(0.01, 1.0), min_size=2, max_size=longest).map(
        lambda weights: np.array(weights) / sum(weights)
    )


def enumerated(total, parts, size):
    """Marginals and slip probability by plain enumeration of every assignment."""
    kernel = np.stack([_slipped(np.eye(size)[x], size) for x in range(size)])
    marginals = [np.zeros(len(d)) for d in (total, *parts)]
    right = everything = 0.0
    for values in itertools.product(*(range(len(d)) for d in (total, *parts))):
        t, x = values[0], sum(values[1:])
        prior = total[t] * np.prod([d[v] for d, v in zip(parts, values[1:], strict=True)])
        fits = (1 - SLIP) * (t == x)
        mass = prior * (fits + SLIP * kernel[x, t])
        right += prior * fits
        everything += mass
        for marginal, v in zip(marginals, values, strict=True):
            marginal[v] += mass
    return [m / everything for m in marginals], 1 - right / everything


@settings(max_examples=40, deadline=None)
@given(distributions(12), st.lists(distributions(5), min_size=1, max_size=3))
def test_convolution_equals_enumeration(total, parts):
    messages, slip = sum_messages(total, parts)
    size = max(len(total), sum(len(p) - 1 for p in parts) + 1)
    expected, expected_slip = enumerated(total, parts, size)
    for own, message, marginal in zip((total, *parts), messages, expected, strict=True):
        posterior = own * message
        assert posterior / posterior.sum() == pytest.approx(marginal, abs=1e-9)
    assert slip == pytest.approx(expected_slip, abs=1e-9)


def belief(probabilities):
    probs = np.array(probabilities)
    nothing = np.zeros(len(probs))
    values = np.arange(len(probs))
    return NumberBelief(np.zeros((1, 14)), values, probs, nothing, nothing, 0.0, 0.0, 0.0)


def test_a_field_in_two_sums_hears_from_both():
    """total = a + b and a = c + d: a chain, so the messages give the exact marginals."""
    rng = np.random.default_rng(5)
    names = {"total": 9, "a": 5, "b": 4, "c": 3, "d": 3}
    beliefs = {n: belief(rng.dirichlet(np.ones(k))) for n, k in names.items()}
    rules = [SumRule("total", ("a", "b")), SumRule("a", ("c", "d"))]
    after, _ = apply_sums(rules, beliefs)
    kernels = {
        "total": np.stack([_slipped(np.eye(9)[x], 9) for x in range(9)]),
        "a": np.stack([_slipped(np.eye(5)[x], 5) for x in range(5)]),
    }
    marginals = {n: np.zeros(k) for n, k in names.items()}
    for values in itertools.product(*(range(k) for k in names.values())):
        v = dict(zip(names, values, strict=True))
        mass = np.prod([beliefs[n].probs[v[n]] for n in names])
        for rule in rules:
            x = sum(v[p] for p in rule.parts)
            t = v[rule.total]
            mass *= (1 - SLIP) * (t == x) + SLIP * kernels[rule.total][x, t]
        for n in names:
            marginals[n][v[n]] += mass
    for n in names:
        assert after[n].probs == pytest.approx(marginals[n] / marginals[n].sum(), abs=1e-9)


def test_long_fields_use_the_fast_transform_with_the_same_result():
    rng = np.random.default_rng(6)
    total, parts = np.zeros(9000), [np.zeros(3000), np.zeros(2500)]
    for table in (total, *parts):
        table[rng.integers(0, len(table), 30)] = rng.random(30)
        table /= table.sum()
    messages, _ = sum_messages(total, parts)
    direct = np.convolve(parts[0], parts[1])
    size = max(len(direct), len(total))
    sums = np.concatenate([direct, np.zeros(size - len(direct))])
    expected = ((1 - SLIP) * sums + SLIP * _slipped(sums, size))[:9000]
    assert messages[0] == pytest.approx(expected / expected.max(), abs=1e-9)
