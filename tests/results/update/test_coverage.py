"""Intervals hold what they say, in a short form of ``sheet_reader.results.update.coverage``."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy.stats import binom

from sheet_reader.results.update import looks
from sheet_reader.results.update.coverage import HARSH, covers, hits, hits_at_every_look

SEASONS = 150
LEAST = 134
"""An exact 95 % interval holds in fewer of 150 seasons once in 300 or less; an 84 % one (the plain
intervals at five looks) passes once in 20 or less."""
MAIN = "mean of site log ratios, t"


def test_the_bound_separates() -> None:
    assert binom.cdf(LEAST - 1, SEASONS, 0.95) < 1 / 300
    assert binom.sf(LEAST - 1, SEASONS, 0.84) < 1 / 20


@pytest.mark.slow
@pytest.mark.parametrize("sites", [10, 30])
def test_the_planted_effect_lies_in_the_stated_interval(sites: int) -> None:
    plan = replace(HARSH, sites=sites)
    assert hits(plan, range(7_000, 7_000 + SEASONS), [MAIN])[MAIN] >= LEAST


@pytest.mark.slow
def test_five_looks_hold_together_only_when_widened() -> None:
    plan = replace(HARSH, sites=10, visits=10)
    levels = (looks.look_level(5), 0.95)
    widened, plain = hits_at_every_look(plan, range(7_000, 7_000 + SEASONS), 5, levels)
    assert widened >= LEAST
    assert plain < LEAST


def test_a_missing_interval_does_not_cover() -> None:
    assert not covers(None, 0.0)
    assert covers((-1.0, 1.0), 0.0)
    assert not covers((0.5, 1.0), 0.0)
