from __future__ import annotations

import sys
from pathlib import Path

import pytest
from thorough import or_fewer

sys.path.insert(0, str(Path(__file__).parent))

import kill


@pytest.mark.parametrize("seed", [7])
def test_nothing_is_lost_when_the_program_is_killed(tmp_path: Path, seed: int) -> None:
    """The short form; ``python tests/faults/kill.py --kills 200`` is the whole one."""
    result = kill.campaign(or_fewer(8, 4), seed, tmp_path)
    assert result.faults == []
    assert result.kills.total() >= 4


@pytest.mark.slow
def test_the_check_itself_sees_losses(tmp_path: Path) -> None:
    run = kill.Campaign(tmp_path, seed=3)
    run.new_photos()
    run.finish("nothing")
    assert run.result.faults == []
    original = next((run.folder / "originals").rglob("*.png"))
    original.unlink()
    run.given.append((10**6, "1"))
    run.known.add("0" * 64)
    run.check("nothing")
    run.finish("nothing")
    said = "\n".join(run.result.faults)
    assert "lost answer" in said
    assert "lost photo" in said
