"""The scripts with which CI tries the lowest and the newest versions of the packages."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import demo_score
import lowest_versions


def test_every_core_package_has_a_lowest_version() -> None:
    script = Path(lowest_versions.__file__)
    done = subprocess.run([sys.executable, script], capture_output=True, text=True, check=True)
    lines = done.stdout.splitlines()
    project = tomllib.loads(lowest_versions.PROJECT.read_text(encoding="utf-8"))["project"]
    assert len(lines) == len(project["dependencies"])
    assert all(line.count("==") == 1 for line in lines)
    names = [line.partition("==")[0] for line in lines]
    assert {"numpy", "opencv-python", "pypdfium2"} <= set(names)


@pytest.mark.parametrize("requirement", ["numpy", "numpy>2", "numpy==2.1", "numpy>=2.1,<3"])
def test_a_package_without_a_plain_floor_is_refused(requirement: str) -> None:
    with pytest.raises(ValueError, match="lowest version"):
        lowest_versions.lowest_versions([requirement])


def said(found: int = 12, right: int = 187, wrong: int = 0) -> str:
    return (
        f"Score     {found} of 12 sheets found; of 194 fields {right} read right at once (96 %),\n"
        f"          29 wait for you, {wrong} wrong without a question\n"
    )


def test_the_score_of_a_demo_is_judged(tmp_path: Path) -> None:
    assert demo_score.score(said()).faults == []
    assert demo_score.score(said(found=11)).faults == ["11 of 12 sheets found"]
    assert demo_score.score(said(right=170)).faults == ["170 of 194 fields read right"]
    assert demo_score.score(said(wrong=1)).faults == ["1 wrong without a question"]
    with pytest.raises(ValueError, match="no score"):
        demo_score.score("Reading …")
    good, bad = tmp_path / "good.txt", tmp_path / "bad.txt"
    good.write_text(said(), encoding="utf-8")
    bad.write_text(said(found=0), encoding="utf-8")
    assert demo_score.main([str(good), str(good)]) == 0
    assert demo_score.main([str(good), str(bad)]) == 1
