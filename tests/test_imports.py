"""What importing the package loads and changes in the process that does it."""

import contextlib
import json
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = ("numpy", "cv2", "scipy", "pandas", "sqlalchemy", "PIL", "reportlab")
FOR_READING = ("cv2", "scipy", "matplotlib", "zxingcpp", "pypdfium2")
LOOKING = {
    "status": ("pandas",),
    "photos": ("pandas", "reportlab"),
    "history": ("pandas", "reportlab"),
    "names": ("pandas", "reportlab"),
    "export": (),
}
"""Commands that look at a record, and what each does without beside FOR_READING."""


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


@pytest.mark.parametrize("module", ["record", "record.store", "reading.opening"])
def test_the_record_is_loaded_without_what_reads_photos(module: str) -> None:
    heavy = (*FOR_READING, "pandas", "PIL", "reportlab")
    answer = _ask(
        f"import sheet_reader.{module}\nanswer = [n for n in {heavy!r} if n in sys.modules]"
    )
    assert answer == []


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record of six weeks."""
    folder = tmp_path_factory.mktemp("season") / "beans"
    program = ("from sheet_reader.cli.main import cli\n"
               f"cli(['demo', '--season', {str(folder)!r}], standalone_mode=False)")  # fmt: skip
    subprocess.run([sys.executable, "-c", program], check=True, capture_output=True)
    return folder


@pytest.mark.parametrize("command", LOOKING)
def test_a_command_that_looks_at_a_record_loads_nothing_that_reads_photos(
    season: Path, command: str
) -> None:
    line = [command, str(season)]
    if command == "history":
        with contextlib.closing(sqlite3.connect(season / "record.sqlite")) as record:
            site, day = record.execute("SELECT site, visit_date FROM reading_runs").fetchone()
        line += ["--site", site, "--visit", day]
    answer = _ask(
        "import contextlib, io\n"
        "from sheet_reader.cli.main import cli\n"
        "with contextlib.redirect_stdout(io.StringIO()) as said:\n"
        f"    cli({line!r}, standalone_mode=False)\n"
        f"heavy = {(*FOR_READING, *LOOKING[command])!r}\n"
        "answer = [len(said.getvalue()) > 0, [n for n in heavy if n in sys.modules]]"
    )
    assert answer == [True, []]
