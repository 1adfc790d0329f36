"""Constants for repeated looks."""

from __future__ import annotations

import numpy as np
import pytest

from sheet_reader.errors import UsageError
from sheet_reader.results.update import statement


@pytest.mark.parametrize(
    ("number", "expected"),
    [(1, 1.960), (2, 2.178), (3, 2.289), (4, 2.361), (5, 2.413), (6, 2.453), (7, 2.485),
     (8, 2.512), (9, 2.535), (10, 2.555), (12, 2.588), (15, 2.626), (20, 2.672)],
)  # fmt: skip
def test_constants_of_pocock(number: int, expected: float) -> None:
    """Pocock 1977, Biometrika 64:191-199; to three places as in Jennison & Turnbull 2000, table
    2.1 (from memory)."""
    assert statement.constant(number) == pytest.approx(expected, abs=6e-4)


@pytest.mark.parametrize(
    ("number", "expected"),
    [(1, 0.05), (2, 0.083), (3, 0.107), (4, 0.126), (5, 0.142), (6, 0.155), (12, 0.208)],
)
def test_error_of_looking_again_and_again(number: int, expected: float) -> None:
    """Armitage, McPherson & Rowe 1969, J. R. Statist. Soc. A 132:235-244 (from memory)."""
    assert statement.overall_error(number, 1.959964) == pytest.approx(expected, abs=6e-4)


def test_the_recursion_agrees_with_simulated_looks() -> None:
    steps = np.random.default_rng(3).normal(size=(100_000, 5)).cumsum(axis=1)
    z = np.abs(steps) / np.sqrt(np.arange(1, 6))
    missed = float((z > statement.constant(5)).any(axis=1).mean())
    assert missed == pytest.approx(0.05, abs=4 * 0.0007)


def test_the_level_of_one_look() -> None:
    assert statement.look_level(1) == pytest.approx(0.95)
    assert statement.look_level(5) == pytest.approx(0.98418, abs=1e-4)


@pytest.mark.parametrize("number", [0, -1, 101])
def test_a_number_of_looks_out_of_range(number: int) -> None:
    with pytest.raises(UsageError, match="1 to 100"):
        statement.constant(number)
