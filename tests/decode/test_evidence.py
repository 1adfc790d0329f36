import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from sheet_reader.decode.evidence import box_probabilities, place_doubt, unreadable_because
from sheet_reader.digits.classes import CLASSES, BoxReadings
from sheet_reader.reasons import Occlusion


@pytest.fixture
def box(beans, written):
    return written(beans, {"a.plants": "12"}).view().boxes[0]


@pytest.mark.parametrize("sigma", [0.2, 0.5, 1.0, 3.0])
def test_the_doubt_of_a_place_is_the_tail_of_the_rayleigh_distribution(sigma):
    assert place_doubt(sigma) == pytest.approx(stats.rayleigh.sf(1.5, scale=sigma))


def test_a_certain_place_has_no_doubt():
    assert place_doubt(0.0) == 0.0


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({}, Occlusion.NONE),
        ({"occluded": Occlusion.COVERED}, Occlusion.COVERED),
        ({"error_mm": math.inf}, Occlusion.UNPLACED),
        ({"error_mm": math.nan}, Occlusion.UNPLACED),
        ({"contrast": 0.02}, Occlusion.FAINT),
        ({"blur_mm": 2.0}, Occlusion.BLURRED),
        ({"blur_mm": math.nan, "contrast": math.nan}, Occlusion.NONE),
    ],
)
def test_why_a_box_cannot_be_read(box, change, reason):
    assert unreadable_because(replace(box, **change)) == reason


def test_a_hidden_box_may_hold_anything(box, stated):
    hidden = replace(box, occluded=Occlusion.COVERED)
    p = box_probabilities([box, hidden], stated("11"))
    assert p[0, 1] > 0.999
    assert p[1] == pytest.approx(np.full(len(CLASSES), 1 / len(CLASSES)))
    assert p.sum(axis=1) == pytest.approx(1.0)


def test_classes_are_matched_by_name(box, stated):
    readings = stated("7")
    turned = BoxReadings(readings.probabilities[:, ::-1], tuple(reversed(CLASSES)))
    assert box_probabilities([box], turned) == pytest.approx(box_probabilities([box], readings))


def test_numbers_that_are_none_tell_nothing(box):
    p = box_probabilities([box], BoxReadings(np.full((1, len(CLASSES)), np.nan), CLASSES))
    assert p == pytest.approx(1 / len(CLASSES))


def test_rows_that_do_not_fit_the_boxes_are_refused(box, stated):
    with pytest.raises(ValueError, match="for 1 boxes"):
        box_probabilities([box], stated("12"))
