import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheet_reader.decode.audits import Checked
from sheet_reader.lab.calibration_file import (
    calibration_text,
    parse_calibration,
    shipped_calibration,
    write_calibration,
)
from sheet_reader.lab.promise_table import GRID

FIELDS = st.lists(st.tuples(st.floats(0.0, 1.0), st.booleans()), max_size=60)


@given(FIELDS)
def test_the_file_keeps_every_field_and_never_raises_a_confidence(fields):
    data = Checked.of([s for s, _ in fields], [c for _, c in fields])
    back = parse_calibration(calibration_text(data))
    assert len(back.scores) == len(fields)
    assert (~back.correct).sum() == (~data.correct).sum()
    for truth in (True, False):
        before = np.sort(data.scores[data.correct == truth])
        after = np.sort(back.scores[back.correct == truth])
        assert np.all(after <= before + 1e-12)
        assert np.all(1 - after <= (1 - before) * 10**0.0101 + 1e-9)


def test_the_file_is_written_where_it_is_told(tmp_path):
    place = tmp_path / "data" / "calibration.csv"
    write_calibration(Checked.of([0.99, 0.99, 0.5], [True, True, False]), place)
    assert place.read_text(encoding="utf-8") == (
        "doubt,right,wrong,sheets\n0.30,0,1,2\n2.00,2,0,\n"
    )


def test_right_and_wrong_ones_are_mixed_the_same_way_each_time():
    text = f"doubt,right,wrong,sheets\n2.00,500,500,{' '.join(map(str, range(500)))}\n"
    one, two = parse_calibration(text), parse_calibration(text)
    assert np.array_equal(one.correct, two.correct)
    assert 60 < one.correct[::5].sum() < 140


def test_the_file_keeps_which_errors_stood_on_one_sheet():
    data = Checked.of([0.9, 0.9, 0.5, 0.9], [False, True, False, False], [7, 7, 8, 7])
    back = parse_calibration(calibration_text(data))
    assert sorted(back.sheets[~back.correct]) == [7, 7, 8]
    with pytest.raises(ValueError, match="other sheets"):
        parse_calibration("doubt,right,wrong,sheets\n2.00,5,2,4\n")


def test_the_file_keeps_who_wrote_and_every_threshold_accepts_the_same():
    rng = np.random.default_rng(5)
    scores = 1.0 - 10.0 ** -rng.uniform(0.0, 9.0, 400)
    writers = rng.choice(["MNIST 0004", "UNIPEN aga004", "pendigits tra30"], 400)
    data = Checked.of(scores, rng.random(400) < 0.9, rng.integers(0, 40, 400), writers=writers)
    text = calibration_text(data)
    assert text.startswith("writer,doubt,right,wrong,sheets\nMNIST 0004,")
    back = parse_calibration(text)
    for writer in np.unique(writers):
        for threshold in GRID:
            for right in (True, False):
                before, after = (
                    (d.writers == writer) & (d.correct == right) & (d.scores >= threshold - 1e-12)
                    for d in (data, back)
                )
                assert before.sum() == after.sum()
    assert sorted(back.sheets[~back.correct]) == sorted(data.sheets[~data.correct])
    part = back.part(back.correct)
    assert len(part.writers) == len(part.scores)


def test_the_shipped_data_are_there_and_mostly_right():
    shipped = shipped_calibration()
    assert len(shipped.scores) > 3000
    assert shipped.correct.mean() > 0.95
