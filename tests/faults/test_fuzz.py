from __future__ import annotations

import random
import sys
from pathlib import Path

import pytest
from thorough import or_fewer

sys.path.insert(0, str(Path(__file__).parent))

import fuzz


def test_damaged_files_give_lines_not_errors(tmp_path: Path) -> None:
    """The short form; ``python tests/faults/fuzz.py --inputs 2000`` is the whole one."""
    inputs = or_fewer(20, 8)
    result = fuzz.campaign(inputs, 11, tmp_path, jobs=1)
    assert result.faults == []
    assert result.inputs == inputs


def test_damaged_studies_give_lists_of_mistakes(tmp_path: Path) -> None:
    result = fuzz.Result()
    fuzz.fuzz_studies(tmp_path, 150, 12, result)
    assert result.faults == []
    assert result.outcomes["study: refused"] > 50


def test_damage_is_damage_and_can_be_repeated() -> None:
    data = bytes(range(256)) * 8
    once = [fuzz.damaged(data, random.Random(n)) for n in range(50)]
    assert once == [fuzz.damaged(data, random.Random(n)) for n in range(50)]
    assert sum(o != data for o in once) >= 48


@pytest.mark.slow
def test_the_check_itself_sees_a_reader_that_stumbles(tmp_path: Path) -> None:
    sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
    import stand_in

    result = fuzz.campaign(or_fewer(10, 4), 11, tmp_path, reader=stand_in.read, jobs=0)
    assert result.tracebacks
