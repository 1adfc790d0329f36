"""Figures about readings, on cases worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from sheet_reader.lab import measures
from sheet_reader.lab.reliability import bins_of


def _rows(answers: list[int], sure: list[float]) -> np.ndarray:
    rows = np.zeros((len(answers), 14))
    for row, (answer, chance) in enumerate(zip(answers, sure, strict=True)):
        rows[row, answer] = chance
        rows[row, (answer + 1) % 10] += 1.0 - chance
    return rows


def test_error_counts_a_digit_called_no_digit() -> None:
    rows = _rows([3, 5, 13, 7], [0.9, 0.8, 0.9, 0.6])
    assert measures.error(rows, np.array([3, 5, 2, 1])) == pytest.approx(0.5)


def test_the_least_sure_are_set_aside_first() -> None:
    rows = _rows([1, 2, 3, 4], [0.99, 0.98, 0.97, 0.6])
    labels = np.array([1, 2, 3, 9])
    assert measures.error(rows, labels) == pytest.approx(0.25)
    assert measures.error_after(rows, labels, 0.25) == 0.0
    assert measures.error_after(rows, labels, 0.0) == pytest.approx(0.25)


def test_calibration_error_is_the_gap_between_confidence_and_truth() -> None:
    # Ten answers at 0.8, of which six are right: a gap of 0.2 in the one bin.
    rows = _rows([4] * 10, [0.8] * 10)
    labels = np.array([4] * 6 + [7] * 4)
    assert measures.calibration_error(rows, labels) == pytest.approx(0.2)
    sure, right, count = bins_of(rows, labels)[0]
    assert (sure, right, count) == (pytest.approx(0.8), pytest.approx(0.6), 10)


def test_sure_digits_are_digits_over_the_threshold() -> None:
    rows = _rows([1, 2, 12], [0.95, 0.85, 0.99])
    assert measures.sure_digits(rows) == pytest.approx(1 / 3)
