from __future__ import annotations

import sys
from pathlib import Path

import pytest
from thorough import or_fewer

sys.path.insert(0, str(Path(__file__).parent))

import memory


@pytest.mark.skipif(not Path("/proc/self/smaps_rollup").exists(), reason="needs Linux")
def test_the_memory_of_a_batch_is_flat(tmp_path: Path) -> None:
    """The short form, without looking at the pictures; ``python tests/faults/memory.py`` looks."""
    photos = or_fewer(40, 20)
    measured = memory.measure(photos, tmp_path, memory.find_nothing, different=1)
    assert len(measured.sizes_mb) == photos
    first, last = measured.peaks(photos // 4)
    assert last <= 1.1 * first
