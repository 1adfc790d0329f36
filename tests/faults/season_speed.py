"""How long status, letters, updates and exports take on a large season, and whether that grows
with the sites only.

    python tests/faults/season_speed.py --sites 300 --weeks 12 --keep FOLDER

The season is made up (one minute for 300 sites; with ``--keep`` it stays in FOLDER and is used
again). Each command runs in a process of its own, on one with half the sites and on the whole.
Beside the time on the clock stands that of the processors, which does not depend on what else the
machine does.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

from sheet_reader.demo.season_record import make_season_folder

COMMANDS = (
    ("status",),
    ("letters", "--again"),
    ("export", "--format", "csv"),
    ("export", "--format", "data-package"),
    ("export", "--format", "darwin-core"),
    ("export", "--format", "excel"),
    ("export", "--format", "parquet"),
    ("update",),
)


def cpu_seconds() -> float:
    """What the ended processes that this one started have used."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def timed(study: Path, command: tuple[str, ...]) -> tuple[float, float]:
    """Seconds of processors and on the clock."""
    name, *options = command
    program = [sys.executable, "-m", "sheet_reader.cli.main", name, str(study), *options]
    began, before = time.monotonic(), cpu_seconds()
    done = subprocess.run(program, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{' '.join(command)} failed:\n{done.stdout}{done.stderr}")
    return cpu_seconds() - before, time.monotonic() - began


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sites", type=int, default=300)
    parser.add_argument("--weeks", type=int, default=12)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--only", help="one command or format")
    given = parser.parse_args(arguments)
    folder = given.keep or Path(tempfile.mkdtemp(prefix="season"))
    sizes = (given.sites // 2, given.sites)
    for sites in sizes:
        if not (folder / str(sites) / "record.sqlite").exists():
            make_season_folder(folder / str(sites), date.today(), 1, sites, given.weeks)
    print(f"{'command':<30}{'CPU s':>8}{'clock s':>9}  {'CPU s of half the sites':>24}{'times':>7}")
    for command in COMMANDS:
        if given.only and given.only not in command:
            continue
        half, whole = (timed(folder / str(sites), command) for sites in sizes)
        line = f"{whole[0]:8.1f}{whole[1]:9.1f}  {half[0]:24.1f}{whole[0] / half[0]:7.2f}"
        print(f"{' '.join(command):<30}{line}", flush=True)
    if given.keep is None:
        shutil.rmtree(folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
