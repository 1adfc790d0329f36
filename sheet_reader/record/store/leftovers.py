"""Half-written files: named after the process that writes them, swept away once it is dead."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
import time
from pathlib import Path

from sheet_reader.numbers import RECORD

OLD_SECONDS = RECORD.leftover_seconds
_NAME = re.compile(r"\.(?:new|backup)-(\d+)-\w+")


def is_running(pid: int) -> bool:
    """Whether a process with this number lives on this machine (where unsure: yes)."""
    if os.name == "nt":
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True


def backup_folder(folder: Path) -> tempfile.TemporaryDirectory[str]:
    """A folder to build a backup in."""
    return tempfile.TemporaryDirectory(prefix=f".backup-{os.getpid()}-", dir=folder)


def sweep(folder: Path, pattern: str) -> None:
    """Remove what dead processes left under ``folder`` (a glob pattern says where)."""
    for path in folder.glob(pattern):
        found = _NAME.fullmatch(path.name)
        if found is None or (is_running(int(found.group(1))) and not _is_old(path)):
            continue
        with contextlib.suppress(OSError):
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()


def _is_old(path: Path) -> bool:
    with contextlib.suppress(OSError):
        return bool(time.time() - path.stat().st_mtime > OLD_SECONDS)
    return False
