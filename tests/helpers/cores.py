"""How many processes of tests work at once, for ``-n auto``."""

from __future__ import annotations

import os
from pathlib import Path

GROUP = Path("/sys/fs/cgroup")


def cores(group: Path = GROUP) -> int:
    """Those that this process may use: by its affinity, and by the share of time that its control
    group has (https://docs.kernel.org/admin-guide/cgroup-v2.html, ``cpu.max``; version 1 has the
    same in two files); 1 at least.
    """
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return max(1, min(usable or 1, round(_share(group) or usable or 1)))


def _share(group: Path) -> float | None:
    """Cores' worth of time; None where there is no limit."""
    try:
        quota, period = (group / "cpu.max").read_text().split()
    except (OSError, ValueError):
        try:
            quota, period = (
                (group / "cpu" / f"cpu.cfs_{name}_us").read_text() for name in ("quota", "period")
            )
        except OSError:
            return None
    if quota == "max" or int(quota) < 0:
        return None
    return int(quota) / int(period)
