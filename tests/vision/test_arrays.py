"""Quantiles against numpy's."""

from __future__ import annotations

import numpy as np
import pytest

from sheet_reader.vision.arrays import medians, quantiles


@pytest.mark.parametrize("length", [1, 2, 3, 44, 6072])
@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.8, 1.0])
def test_quantiles_are_numpy_s(length: int, share: float) -> None:
    rng = np.random.default_rng(length)
    grey = rng.integers(0, 256, (3, 5, length)).astype(np.uint8)
    assert quantiles(grey, share) == pytest.approx(np.quantile(grey, share, axis=2))
    real = rng.normal(0, 30, (4, length)).astype(np.float32)
    assert quantiles(real, share) == pytest.approx(np.quantile(real, share, axis=1), rel=1e-5)


def test_a_median_of_one_row_is_one_value_and_rows_stay_as_they_are() -> None:
    row = np.array([5, 1, 4, 2], np.float32)
    assert float(medians(row)) == 3.0
    assert row.tolist() == [5, 1, 4, 2]
