"""The threshold used where the caller gives none."""

from __future__ import annotations

CONSERVATIVE = 0.999
"""Without calibration data: a field is asked about unless the model gives it 999 in 1,000.
A cautious choice of this house, no promise."""


def default_threshold(accepted_error: float) -> float:
    """The threshold for ``accepted_error`` (share of accepted fields that may be wrong)."""
    return max(CONSERVATIVE, 1.0 - accepted_error)
