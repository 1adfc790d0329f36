"""What several rooms' tests share lies in ``helpers``; worker processes import it by name."""

import contextlib
import gc
import os
import shutil
import signal
import sys
from pathlib import Path

from sheet_reader.threads import one_thread_from_the_start

one_thread_from_the_start()  # as the programs do
os.environ.setdefault("OPENCV_FOR_THREADS_NUM", "1")

sys.path.insert(0, str(Path(__file__).parent / "helpers"))

import compiled_once  # noqa: E402
import pytest  # noqa: E402
import thorough  # noqa: E402
from cores import cores  # noqa: E402

# Shells start what runs in the background with Ctrl-C ignored, and programs hand that on.
signal.signal(signal.SIGINT, signal.default_int_handler)

compiled_once.share()

# Most of what tests wait for is the disk: their folders lie in memory where it has room.
IN_MEMORY, ENOUGH = Path("/dev/shm"), 2 << 30
with contextlib.suppress(OSError):
    if os.access(IN_MEMORY, os.W_OK) and shutil.disk_usage(IN_MEMORY).free > ENOUGH:
        os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(IN_MEMORY))


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--thorough", action="store_true",
        help="whole matrices, long random sequences and many examples; before a release",
    )  # fmt: skip


def pytest_configure(config: pytest.Config) -> None:
    """Before test files are imported, whose parameters and examples depend on it."""
    if config.getoption("--thorough"):
        os.environ[thorough.ASKED_FOR] = "1"
    thorough.load_profile()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What only ``--thorough`` runs is left out and counted as such."""
    if thorough.asked_for():
        return
    left = [item for item in items if item.get_closest_marker("thorough")]
    if left:
        config.hook.pytest_deselected(items=left)
        items[:] = [item for item in items if not item.get_closest_marker("thorough")]


def pytest_collection_finish() -> None:
    """Modules and tests stay to the end: the garbage collector need not go through them again."""
    gc.freeze()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """``-n auto``."""
    return cores()
