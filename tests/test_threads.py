"""Programs of ours keep linear algebra to one thread before its libraries are loaded."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from sheet_reader.threads import VARIABLES

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
