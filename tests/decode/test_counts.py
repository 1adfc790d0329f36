from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from sheet_reader.decode.counts import (
    DISCOUNT,
    history_probability,
    judge_count,
    with_history,
    with_range,
)
from sheet_reader.decode.posteriors import read_numbers
from sheet_reader.study.kinds import Range
from sheet_reader.wording import words

RANGE = Range(1, 60)
"""Of the plants."""
BLACKFLY = Range(0, 400)


@pytest.fixture
def plants(beans):
    return next(s for s in beans.fields if s.name == "a.plants")


@pytest.mark.parametrize("earlier", [[0, 0, 0], [3, 5, 4], [120, 80]])
def test_history_is_a_negative_binomial(earlier):
    values = np.arange(400)
    r, rate = 0.5 + DISCOUNT * sum(earlier), DISCOUNT * len(earlier)
    expected = stats.nbinom.pmf(values, r, rate / (rate + 1))
    assert history_probability(values, earlier) == pytest.approx(expected)
    mean, variance = r / rate, r / rate + r / rate**2
    assert variance > mean  # counts vary more than Poisson counts do


def test_a_sudden_change_stays_possible(plants, stated):
    """However steady the history, what is clearly written is read."""
    [posterior] = read_numbers(stated("57").probabilities[None])
    assert with_history(posterior, plants, [3] * 50).ranked()[0][0] == 57


def test_without_history_nothing_changes(plants, stated):
    [posterior] = read_numbers(stated("57").probabilities[None])
    assert with_history(posterior, plants, []) is posterior


def test_an_implausible_value_loses_weight_but_is_not_ruled_out(stated):
    [posterior] = read_numbers(stated([{"7": 0.5, "1": 0.49}, "2"]).probabilities[None])
    after = with_range(posterior, RANGE)
    assert after.ranked()[0][0] == 12
    assert after.probability(72) == pytest.approx(0.02, abs=0.005)
    assert after.number == pytest.approx(posterior.number)


def test_a_number_moved_into_the_range_against_the_boxes_is_asked_about(plants, stated):
    [raw] = read_numbers(stated([{"7": 0.95, "1": 0.049}, "2"]).probabilities[None])
    judged = judge_count(plants, raw, with_range(raw, RANGE), RANGE)
    assert (judged.value, judged.runner_up) == ("72", "12")
    assert words(judged.flags) == "72 is more than the highest plausible value 60"


def test_a_field_without_limits_takes_any_number(plants, stated):
    spec = replace(plants, lowest=None, highest=None)
    [raw] = read_numbers(stated("99").probabilities[None])
    free = Range(None, None)
    judged = judge_count(spec, raw, with_range(raw, free), free)
    assert (judged.value, judged.flags) == ("99", ())


def test_the_sites_history_overrules_no_clear_digit(beans, stated):
    spec = next(s for s in beans.fields if s.name == "a.blackfly")
    [raw] = read_numbers(stated(["_", {"8": 0.9, "1": 0.0999}, "1"]).probabilities[None])
    posterior = with_history(raw, spec, [11] * 10)
    assert posterior.ranked()[0][0] == 11  # what the history alone would make of it
    judged = judge_count(spec, raw, posterior, BLACKFLY)
    assert (judged.value, judged.runner_up) == ("81", "11")
    assert words(judged.flags) == "the boxes spell 81, all else says 11: which is right?"


def test_the_sites_history_settles_a_doubtful_digit(beans, stated):
    spec = next(s for s in beans.fields if s.name == "a.blackfly")
    [raw] = read_numbers(stated(["_", {"8": 0.6, "1": 0.3999}, "1"]).probabilities[None])
    judged = judge_count(spec, raw, with_history(raw, spec, [11] * 10), BLACKFLY)
    assert (judged.value, judged.flags) == ("11", ())
