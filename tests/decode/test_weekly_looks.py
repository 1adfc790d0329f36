"""Audits looked at every week: the level over a whole season, and what they notice."""

import numpy as np
import pytest

from sheet_reader.decode.weekly_looks import drift, evidence_against, evidence_for


def season(rng, share, shape, sites=60, weeks=20, each=3):
    """Counts of wrong and checked fields by week and site, added up; each site has its own rate."""
    rate = rng.beta(shape, shape * (1.0 - share) / share, sites)
    wrong = rng.binomial(each, rate, (weeks, sites)).cumsum(0)
    checked = np.full((weeks, sites), each).cumsum(0)
    return wrong, checked


@pytest.mark.parametrize("shape", [0.1, 1.0, 100.0])
def test_twenty_weekly_looks_raise_a_false_alarm_in_few_seasons(shape):
    rng = np.random.default_rng(1)
    alarms = confirmed = 0
    for _ in range(200):
        wrong, checked = season(rng, 0.002, shape)
        looks = list(zip(wrong, checked, strict=True))
        alarms += any(evidence_against(k, n, 0.002) >= 20 for k, n in looks)
        confirmed += any(evidence_for(k, n, 0.002) >= 20 for k, n in looks)
    assert alarms <= 0.07 * 200
    assert confirmed <= 0.07 * 200


def test_a_reader_ten_times_as_bad_is_noticed_and_a_good_one_borne_out():
    rng = np.random.default_rng(2)
    noticed = borne_out = 0
    for _ in range(40):
        wrong, checked = season(rng, 0.02, 1.0)
        noticed += any(
            evidence_against(k, n, 0.002) >= 20 for k, n in zip(wrong, checked, strict=True)
        )
        wrong, checked = season(rng, 0.00002, 1.0, sites=150, each=10)
        borne_out += any(
            evidence_for(k, n, 0.002) >= 20 for k, n in zip(wrong, checked, strict=True)
        )
    assert noticed >= 36
    assert borne_out >= 36


def test_one_wrong_of_forty_is_no_alarm_and_twelve_of_four_hundred_are_one():
    assert evidence_against([1, 0], [20, 20], 0.001) < 20
    assert evidence_against([3, *[0] * 49], np.full(50, 20), 0.001) < 20  # 3 of 1,000
    assert evidence_against([1] * 12, np.full(12, 33), 0.001) > 20


def test_a_drift_shows_after_it_began_and_not_before():
    clean = (np.zeros(40, int), np.full(40, 10))
    worse = (np.r_[np.ones(6, int), np.zeros(34, int)], np.full(40, 10))
    seen = drift([clean] * 4 + [worse] * 3, 0.001)
    assert (seen[:4] < 20).all()
    assert seen[-1] > 20
