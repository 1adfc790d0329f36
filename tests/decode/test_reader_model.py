"""The whole decoder on pages of a calibrated reader, and of one made too sure of itself."""

import numpy as np
import pytest
from thorough import or_fewer

from sheet_reader.decode.audits import Checked, promise_for
from sheet_reader.decode.promise import NoPromise, Promise
from sheet_reader.decode.sheet import Rules, decode_sheet
from sheet_reader.lab.promise_table import table_of
from sheet_reader.lab.rules_table import MEASURED


def random_states(study, rng):
    """A page filled in at random, and its values as the decoder should give them."""
    truth = {}
    for spec in study.fields:
        if spec.kind.name == "site":
            truth[spec.name] = study.sites[rng.integers(len(study.sites))].number
        elif spec.kind.name == "date":
            day, month = int(rng.integers(1, 31)), int(rng.integers(5, 7))
            truth[spec.name] = f"2026-{month:02d}-{day:02d}"
        elif rng.random() < 0.05 and spec.kind.name == "count":
            truth[spec.name] = None
        else:
            truth[spec.name] = str(int(rng.integers(spec.lowest, 1 + min(20, spec.highest))))
    for rule in study.sums:
        parts = [truth[p] for p in rule.parts]
        if None not in parts:
            truth[rule.total] = str(sum(int(p) for p in parts))
    return truth, {s.name: _spell(truth[s.name], s, rng) for s in study.fields}


def _spell(value, spec, rng):
    if spec.kind.name == "site":
        return value
    if spec.kind.name == "date":
        return value[8:] + value[5:7] + value[2:4]
    text = value or ""
    room = spec.boxes - len(text)
    left = int(rng.integers(room + 1))
    return "_" * left + text + "_" * (room - left)


def read_pages(study, written, reader, today, pages, rules=Rules.ALL, seed=0):
    """Score and rightness of every field that only its confidence could have held back."""
    rng = np.random.default_rng(seed)
    scores, correct = [], []
    for _ in range(pages):
        truth, states = random_states(study, rng)
        filled = written(study, states)
        page = decode_sheet(
            filled.view(), reader(filled.flat()), study, today, threshold=0.0, rules=rules
        )
        for field in page.fields:
            if field.status != "flagged":
                scores.append(field.confidence)
                correct.append(field.value == truth[field.field])
    return Checked.of(scores, correct)


@pytest.fixture(scope="module")
def pages(beans, written, reader, today):
    def run(count, *, seed, noise=0.16, sharpen=1.0, rules=Rules.ALL):
        made = reader(seed, noise=noise, sharpen=sharpen)
        return read_pages(beans, written, made, today, count, rules, seed)

    return run


@pytest.fixture(scope="module")
def calibrated(pages):
    return pages(or_fewer(500, 250), seed=1)


def test_confidences_of_a_calibrated_reader_mean_what_they_say(calibrated):
    doubtful = calibrated.scores < 0.98
    expected = (1 - calibrated.scores[doubtful]).sum()
    wrong = (~calibrated.correct[doubtful]).sum()
    assert doubtful.sum() > 100
    assert wrong == pytest.approx(expected, abs=4 * np.sqrt(expected))


def test_a_calibrated_reader_gets_a_promise(calibrated):
    got = table_of(calibrated).loosest(0.005)
    assert isinstance(got, Promise)
    assert got.kept > 0.8


def test_a_reader_too_sure_of_itself_makes_the_promise_refuse(pages, calibrated):
    """Log-odds four times too large: nearly all fields seem certain. Four hundred looked at blind
    are enough to withdraw the shipped promise; what its own data may promise is true of new pages.
    """
    sharpened = pages(130, seed=2, noise=0.22, sharpen=4.0)
    # sums settle no more than three quarters of a doubt, so not quite nine in ten seem certain
    assert (sharpened.scores > 0.999).mean() > 0.85
    own = Checked(sharpened.scores[:400], sharpened.correct[:400])
    assert isinstance(promise_for(0.005, table_of(calibrated), own), NoPromise)
    alone = table_of(sharpened).loosest(0.005)
    if isinstance(alone, Promise):
        wrong, kept = pages(130, seed=4, noise=0.22, sharpen=4.0).at(alone.threshold)
        assert wrong <= 0.005 * kept


def test_each_rule_leaves_fewer_wrong_or_doubtful_fields(pages):
    doubtful = []
    for _, rules in MEASURED:
        data = pages(or_fewer(120, 40), seed=3, noise=0.2, rules=rules)
        doubtful.append(int((data.scores < 0.99).sum()))
    assert doubtful[-1] < doubtful[0]
    assert doubtful == sorted(doubtful, reverse=True)
