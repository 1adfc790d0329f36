"""Figures about readings: error, error after rejecting, calibration error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

DIGITS = 10
Probabilities = NDArray[np.float64]
Labels = NDArray[np.integer]


def digit_answers(probabilities: Probabilities) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The most probable class of each row and its probability."""
    return probabilities.argmax(axis=1), probabilities.max(axis=1)


def error(probabilities: Probabilities, labels: Labels) -> float:
    """Share of rows read wrongly, nothing rejected. A digit called empty, struck, several or other
    counts as wrong.
    """
    return float((digit_answers(probabilities)[0] != labels).mean())


def error_after(probabilities: Probabilities, labels: Labels, rejected: float) -> float:
    """Error of the rest when the least sure share ``rejected`` is set aside. How sure is the
    probability of the best digit: what is called a non-digit is set aside first.
    """
    sure = probabilities[:, :DIGITS].max(axis=1)
    order = np.argsort(sure, kind="stable")
    kept = order[int(np.ceil(rejected * len(order))) :]
    return float((probabilities[kept, :DIGITS].argmax(axis=1) != labels[kept]).mean())


def calibration_error(probabilities: Probabilities, labels: Labels, bins: int = 15) -> float:
    """Expected calibration error over ``bins`` equal bins of confidence (Guo et al. 2017)."""
    answers, sure = digit_answers(probabilities)
    right = answers == labels
    place = np.minimum((sure * bins).astype(int), bins - 1)
    gaps = [abs(right[place == b].sum() - sure[place == b].sum()) for b in range(bins)]
    return float(np.sum(gaps) / len(labels))


def sure_digits(probabilities: Probabilities, least: float = 0.9) -> float:
    """Share of rows read as some digit with a probability over ``least``."""
    return float((probabilities[:, :DIGITS].max(axis=1) > least).mean())


@dataclass(frozen=True, slots=True)
class SetFigures:
    """Figures of one set of digits, all shares 0..1."""

    count: int
    error: float
    error_at_2: float
    calibration: float


def figures(probabilities: Probabilities, labels: Labels) -> SetFigures:
    """All figures of one set."""
    return SetFigures(
        len(labels),
        error(probabilities, labels),
        error_after(probabilities, labels, 0.02),
        calibration_error(probabilities, labels),
    )
