"""One sheet, one hand. The formula is checked against conditioning the joint
distribution, with scipy's multivariate t density."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import multivariate_t
from thorough import examples, or_fewer

from sheet_reader.decode.writer import (
    DIGITS,
    TAILS,
    WriterModel,
    adapted,
    centred,
    shipped_model,
)
from sheet_reader.lab.fit_writer import fit_model, model_text
from sheet_reader.numbers import DECODE

Floats = NDArray[np.float64]
SURE, TRUST = DECODE.writer_sure, DECODE.writer_trust


def _model(rng: np.random.Generator) -> WriterModel:
    def positive(size: float) -> Floats:
        root = rng.normal(0.0, 1.0, (DIGITS, DIGITS))
        return size * (root @ root.T / DIGITS + 0.3 * np.eye(DIGITS))

    means = 12.0 * np.eye(DIGITS) - 6.0
    return WriterModel(means, positive(1.0), positive(1.5))


def _rows(x: Floats) -> Floats:
    """Class probabilities (N, 14) with these centred log-probabilities, 0.9999 on the digits."""
    raised = np.exp(x - x.max(axis=1, keepdims=True))
    digits = 0.9999 * raised / raised.sum(axis=1, keepdims=True)
    return np.hstack([digits, np.full((len(x), 4), 0.000025)])


def _gain(x: Floats, box: int, others: list[int], c: int, model: WriterModel) -> float:
    """Log ratio of the density of ``box`` given the others, all of them c's, to its own alone: the
    place and the spread by conditioning the joint normal distribution of all boxes.
    """
    every = [*others, box]
    joint = np.kron(np.ones((len(every), len(every))), model.between)
    joint += np.kron(np.eye(len(every)), model.within)
    size = DIGITS * len(others)
    cross = joint[size:, :size] @ np.linalg.inv(joint[:size, :size])
    place = model.means[c] + cross @ (x[others] - model.means[c]).ravel()
    spread = joint[size:, size:] - cross @ joint[:size, size:]
    given = multivariate_t(place, (spread + spread.T) / 2, TAILS).logpdf(x[box])
    alone = multivariate_t(model.means[c], model.within + model.between, TAILS).logpdf(x[box])
    return float(given - alone)


def _open(count: int) -> NDArray[np.int64]:
    return np.full(count, -1)


def test_the_gain_follows_from_the_joint_distribution() -> None:
    rng = np.random.default_rng(4)
    model = _model(rng)
    examples = np.vstack([model.means[c] + rng.normal(0.0, 0.4, (3, DIGITS)) for c in (1, 7)])
    doubtful = (model.means[1] + model.means[7]) / 2
    rows = _rows(np.vstack([examples, doubtful]))
    assert (rows[:6].max(axis=1) > SURE).all()
    after = adapted(rows, np.ones(7, bool), _open(7), model)
    x = centred(rows)
    gain = _gain(x, 6, [0, 1, 2], 1, model) - _gain(x, 6, [3, 4, 5], 7, model)
    assert abs(gain) > 0.1
    got = np.log(after[6, 1] / after[6, 7]) - np.log(rows[6, 1] / rows[6, 7])
    assert got == pytest.approx(TRUST * gain, abs=1e-6)


def test_a_doubtful_stroke_is_not_the_digit_that_this_writer_makes_otherwise() -> None:
    """All this writer's 7s are plain to see, so what looks half like one is rather a 1."""
    model = shipped_model()
    sevens = model.means[7] + np.array([[0.0], [0.3], [-0.2], [0.1], [0.2]])
    ones = model.means[1].copy()
    ones[7] += 5.0
    doubtful = (model.means[1] + model.means[7]) / 2
    doubtful[7] = doubtful[1] + 0.1
    rows = _rows(np.vstack([sevens, doubtful, ones]))
    known = _open(7)
    known[6] = 1
    assert rows[5].argmax() == 7
    after = adapted(rows, np.ones(7, bool), known, model)
    assert after[5].argmax() == 1
    assert np.array_equal(after[6], rows[6])


def _between(one: int, other: int, sure: float) -> Floats:
    """Centred log-probabilities (10,) of a sign between two digits, read as ``one``."""
    model = shipped_model()
    for share in np.linspace(0.0, 1.0, 2001):
        x = (1.0 - share) * model.means[other] + share * model.means[one]
        if _rows(x[None])[0, one] >= sure:
            return np.asarray(x)
    raise AssertionError("no such sign")


def test_twins_that_nothing_settles_do_not_lift_each_other() -> None:
    """Eight 1s read as 7 at 0.975 and one at 0.90: alike, likely, and all of them wrong."""
    signs = [_between(7, 1, 0.975)] * 8 + [_between(7, 1, 0.90)]
    rows = _rows(np.vstack(signs))
    after = adapted(rows, np.ones(9, bool), _open(9), shipped_model())
    assert rows[:, 7] == pytest.approx([0.975] * 8 + [0.90], abs=0.01)
    assert (after[:, 7] <= rows[:, 7] + 1e-9).all()


@settings(max_examples=examples(60), deadline=None)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(0, 40))
def test_only_digits_of_visible_boxes_change(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    rows = rng.dirichlet(np.full(14, 0.2), count).reshape(count, 14)
    seen = rng.random(count) < 0.8
    known = np.where(rng.random(count) < 0.1, rng.integers(0, 10, count), -1)
    after = adapted(rows, seen, known, shipped_model())
    assert np.array_equal(after[:, DIGITS:], rows[:, DIGITS:])
    assert np.allclose(after[:, :DIGITS].sum(axis=1), rows[:, :DIGITS].sum(axis=1))
    assert np.array_equal(after[~seen], rows[~seen])
    assert np.isfinite(after).all()


def test_one_box_alone_says_nothing_more() -> None:
    rows = np.random.default_rng(2).dirichlet(np.full(14, 0.3), 1)
    assert np.array_equal(adapted(rows, np.ones(1, bool), _open(1), shipped_model()), rows)


def test_the_fit_finds_the_model_again() -> None:
    rng = np.random.default_rng(6)
    true = _model(rng)
    hands, each = or_fewer(3000, 1000), 5
    less = np.sqrt(3000 / hands)  # certain
    own = rng.multivariate_normal(np.zeros(DIGITS), true.between, (hands, DIGITS)) + true.means
    x = np.repeat(own, each, axis=1).reshape(-1, DIGITS)
    x = x + rng.multivariate_normal(np.zeros(DIGITS), true.within, len(x))
    digits = np.tile(np.repeat(np.arange(DIGITS), each), hands)
    found = fit_model(x, digits, np.repeat(np.arange(hands), DIGITS * each))
    assert np.allclose(found.means, true.means, atol=0.12 * less)
    assert np.allclose(found.within, true.within, atol=0.05 * less)
    assert np.allclose(found.between, true.between, atol=0.05 * less)


def test_the_text_keeps_the_model() -> None:
    model = _model(np.random.default_rng(3))
    read = json.loads(model_text(model, "test"))
    for name in ("means", "within", "between"):
        assert np.allclose(read[name], getattr(model, name), atol=1e-4)
