"""The procedural hand and its pens."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from thorough import examples

from sheet_reader.simulate.hand import (
    digit_strokes,
    draw_digit,
    forms_of,
    random_hand,
    school_hand,
    sign_names,
    sign_strokes,
)
from sheet_reader.simulate.pens import PEN_KINDS, random_pen, render_strokes


@settings(max_examples=examples(40), deadline=None)
@given(seed=st.integers(0, 2**31), digit=st.integers(0, 9))
def test_every_digit_of_every_hand_leaves_ink_in_the_box(seed: int, digit: int) -> None:
    rng = np.random.default_rng(seed)
    hand = random_hand(rng)
    ink = draw_digit(digit, hand, rng, 48)
    assert ink.shape == (48, 48)
    assert ink.dtype == np.float32
    assert ink.min() >= 0.0
    assert ink.max() <= 1.0
    assert 0.003 < float((ink > 0.15).mean()) < 0.6


@settings(max_examples=examples(40), deadline=None)
@given(seed=st.integers(0, 2**31), digit=st.integers(0, 9))
def test_strokes_stay_near_the_unit_box(seed: int, digit: int) -> None:
    rng = np.random.default_rng(seed)
    strokes = digit_strokes(digit, random_hand(rng), rng)
    points = np.vstack(strokes)
    assert all(stroke.ndim == 2 and stroke.shape[1] == 2 for stroke in strokes)
    assert points.min() > -0.35
    assert points.max() < 1.35
    assert np.ptp(points[:, 1]) > 0.25


def test_the_same_seed_draws_the_same_digit() -> None:
    def draw(seed: int) -> np.ndarray:
        rng = np.random.default_rng(seed)
        return draw_digit(4, random_hand(rng), rng, 40)

    assert np.array_equal(draw(3), draw(3))
    assert not np.array_equal(draw(3), draw(4))


def test_one_writer_is_more_like_itself_than_like_others() -> None:
    rng = np.random.default_rng(11)

    def profile(hand: object) -> np.ndarray:
        stack = [draw_digit(d, hand, rng, 32) > 0.1 for d in (2, 3, 5, 7)]  # type: ignore[arg-type]
        return np.concatenate([s.mean(axis=1) for s in stack])

    own, foreign = [], []
    for _ in range(12):
        a, b = random_hand(rng), random_hand(rng)
        first, again, other = profile(a), profile(a), profile(b)
        own.append(np.abs(first - again).mean())
        foreign.append(np.abs(first - other).mean())
    assert np.mean(own) < 0.7 * np.mean(foreign)


def test_the_forms_of_the_schools_are_there() -> None:
    assert {"plain", "upstroke", "upstroke and foot"} <= set(forms_of(1))
    assert {"open", "closed"} <= set(forms_of(4))
    assert {"plain", "crossed"} <= set(forms_of(7))
    assert {"oval", "slashed"} <= set(forms_of(0))
    assert {"flat", "round"} <= set(forms_of(3))
    assert {"curled", "straight"} <= set(forms_of(6)) & set(forms_of(9))
    assert {"flat base", "loop"} <= set(forms_of(2))


def test_a_crossed_seven_has_a_bar_and_the_school_hand_has_none() -> None:
    rng = np.random.default_rng(5)
    hand = school_hand(rng)
    assert len(digit_strokes(7, hand, rng)) == 1
    forms = list(hand.forms)
    forms[7] = "crossed"
    crossed = type(hand)(**{n: getattr(hand, n) for n in hand.__slots__} | {"forms": tuple(forms)})
    assert len(digit_strokes(7, crossed, rng)) == 2


def test_signs_can_be_drawn_and_unknown_ones_are_refused() -> None:
    rng = np.random.default_rng(2)
    hand = random_hand(rng)
    for name in sign_names():
        assert render_strokes(sign_strokes(name, hand, rng), 32, hand.pen, rng).max() > 0.1
    with pytest.raises(ValueError, match="no sign"):
        sign_strokes("no such sign", hand, rng)
    for digit in (-1, 10):
        with pytest.raises(ValueError, match="0 to 9"):
            digit_strokes(digit, hand, rng)


@pytest.mark.parametrize("kind", PEN_KINDS)
def test_a_line_is_as_wide_as_its_pen(kind: str) -> None:
    rng = np.random.default_rng(1)
    widths, wanted = [], []
    for _ in range(20):
        pen = random_pen(rng, kind)
        plain = type(pen)(pen.kind, pen.width, 1.0, 0.0, 0.0, 0.0)
        ink = render_strokes([np.array([[-0.2, 0.5], [1.2, 0.5]])], 200, plain, rng)
        widths.append(ink[:, 60:140].sum(axis=0).mean() / 200)
        wanted.append(pen.width)
    assert np.allclose(widths, wanted, rtol=0.12, atol=0.004)


def test_bad_strokes_are_refused_and_a_point_is_a_dot() -> None:
    rng = np.random.default_rng(1)
    pen = random_pen(rng, "felt tip")
    assert render_strokes([], 16, pen, rng).max() == 0.0
    assert render_strokes([np.array([[0.5, 0.5]])], 32, pen, rng)[14:18, 14:18].max() > 0.4
    with pytest.raises(ValueError, match="size_px"):
        render_strokes([], 0, pen, rng)
    with pytest.raises(ValueError, match=r"\(n, 2\)"):
        render_strokes([np.zeros((3, 3))], 16, pen, rng)
