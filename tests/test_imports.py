"""What importing the package loads and changes in the process that does it."""

import json
import subprocess
import sys

HEAVY = ("numpy", "cv2", "scipy", "pandas", "sqlalchemy", "PIL", "reportlab")


def _ask(code: str) -> object:
    """What ``code`` leaves in ``answer``, in a fresh process."""
    program = f"import json, os, sys\n{code}\nprint(json.dumps(answer))"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout.splitlines()[-1])


def test_importing_the_package_loads_nothing_heavy_and_changes_nothing() -> None:
    answer = _ask(
        "before = dict(os.environ), set(sys.modules)\n"
        "import sheet_reader\n"
        "known = sys.stdlib_module_names | {'sheet_reader'}\n"
        "new = sorted(set(sys.modules) - before[1])\n"
        "foreign = [name for name in new if name.split('.')[0] not in known]\n"
        "own = [name for name in new if name.startswith('sheet_reader')]\n"
        "answer = [dict(os.environ) == before[0], foreign, own]"
    )
    assert answer == [True, [], ["sheet_reader"]]


def test_help_loads_nothing_heavy() -> None:
    answer = _ask(
        "from sheet_reader.cli.main import cli\n"
        "cli(['--help'], standalone_mode=False)\n"
        f"answer = [name for name in {HEAVY!r} if name in sys.modules]"
    )
    assert answer == []


def test_the_check_sees_what_is_loaded() -> None:
    answer = _ask(f"import numpy\nanswer = [n for n in {HEAVY!r} if n in sys.modules]")
    assert answer == ["numpy"]
