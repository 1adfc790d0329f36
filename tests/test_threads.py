"""Programs of ours keep linear algebra to one thread before its libraries are loaded."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from sheet_reader.threads import VARIABLES, usual_jobs

ROOT = str(Path(__file__).parents[1])
COMMAND = "sys.argv = ['sheet-reader', '--version']; from sheet_reader.cli.main import main; main()"


@pytest.mark.parametrize("program", [COMMAND, "import sheet_reader.lab"])
@pytest.mark.parametrize("given", [{}, {"OMP_NUM_THREADS": "3"}])
def test_one_thread_from_the_start_unless_the_user_set_more(
    program: str, given: dict[str, str]
) -> None:
    code = (
        "import atexit, os, sys\n"
        f"names = {VARIABLES!r}\n"
        "atexit.register(lambda: print([os.environ.get(n) for n in names], 'numpy' in sys.modules))"
        f"\n{program}"
    )
    plain = {k: v for k, v in os.environ.items() if k not in VARIABLES}
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={**plain, "PYTHONPATH": ROOT, **given},
    )
    expected = [given.get(name, "1") for name in VARIABLES]
    assert done.stdout.splitlines()[-1] == f"{expected} False"


def test_as_many_processes_as_cores_and_memory_bear(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _pid: {0, 2, 3}, raising=False)
    sizes = {"SC_PHYS_PAGES": 4_000_000, "SC_PAGE_SIZE": 4096}
    monkeypatch.setattr(os, "sysconf", sizes.__getitem__, raising=False)
    assert [usual_jobs(each) for each in (10**9, 4 * 10**9, 10**11)] == [3, 2, 1]
    monkeypatch.delattr(os, "sysconf")
    assert usual_jobs(10**11) == 3
