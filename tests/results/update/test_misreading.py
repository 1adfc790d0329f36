"""How far reading errors could move the figure."""

from __future__ import annotations

import numpy as np
import pytest

from sheet_reader.results.update.misreading import misreading, wrong_value
from sheet_reader.results.update.pairs import pair_visits
from sheet_reader.results.update.season import OUTLINE, make_season


def test_a_wrong_value_differs_in_one_digit_and_stays_plausible() -> None:
    rng = np.random.default_rng(1)
    for value in (0, 7, 12, 399, 400):
        for _ in range(200):
            wrong = wrong_value(value, rng, 0, 400)
            assert wrong != value
            assert 0 <= wrong <= 400
            old, new = str(value), str(wrong).zfill(len(str(value)))
            assert sum(a != b for a, b in zip(old, new, strict=True)) == 1


def test_more_errors_move_it_further_and_none_not_at_all() -> None:
    visits = pair_visits(make_season(3), OUTLINE, "blackfly").visits
    shifts = [
        misreading(visits, rate, with_effort=True, highest=400).shift for rate in (0, 0.001, 0.02)
    ]
    assert shifts[0] == 0
    assert shifts[0] < shifts[1] < shifts[2]


def test_the_visits_stay_as_they_were_and_the_seed_rules() -> None:
    visits = pair_visits(make_season(3), OUTLINE, "blackfly").visits
    before = visits.copy()
    first = misreading(visits, 0.01, with_effort=True, seed=5)
    assert visits.equals(before)
    assert misreading(visits, 0.01, with_effort=True, seed=5) == first


def test_values_that_a_person_decided_are_not_misread() -> None:
    visits = pair_visits(make_season(3), OUTLINE, "blackfly").visits
    decided = visits.assign(status_treated="confirmed", status_control="corrected")
    result = misreading(decided, 1.0, with_effort=False)
    assert (result.values, result.shift) == (0, 0)


def test_with_every_value_wrong_the_shift_is_that_of_a_redrawn_season() -> None:
    visits = pair_visits(make_season(3), OUTLINE, "blackfly").visits
    result = misreading(visits, 1.0, with_effort=False, seasons=50)
    assert result.wrong == result.values
    assert result.shift == pytest.approx(60, abs=60)
    assert result.shift > 1
