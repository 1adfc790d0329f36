"""Prints the lowest version of every core package that pyproject.toml allows.

python tests/lowest_versions.py > lowest.txt
pip install --constraint lowest.txt .
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

PROJECT = Path(__file__).parents[1] / "pyproject.toml"
_FLOOR = re.compile(r"([A-Za-z0-9._-]+)>=([0-9][0-9.]*)")


def lowest_versions(requirements: list[str]) -> list[str]:
    """``name==version`` for each ``name>=version``; raises ValueError for one without a floor."""
    pinned = []
    for requirement in requirements:
        match = _FLOOR.fullmatch(requirement.replace(" ", ""))
        if match is None:
            raise ValueError(f"{requirement}: no lowest version (write it as name>=1.2)")
        pinned.append(f"{match[1]}=={match[2]}")
    return pinned


if __name__ == "__main__":
    project = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]
    print("\n".join(lowest_versions(project["dependencies"])))
