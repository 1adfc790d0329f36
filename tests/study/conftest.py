"""A small sound study, and a way to spoil it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

SOUND = """\
key = "snails"
title = "Snails"
paper = "A4"
sites = "sites.csv"

[season]
first = 2026-04-01
last = 2026-09-30

[[header]]
name = "site"
label = "Site number"
kind = "site"
boxes = 4

[[header]]
name = "visit_date"
label = "Visit date"
kind = "date"

[[plots]]
name = "north"
label = "North half"

[[plots]]
name = "south"
label = "South half"

[[counts]]
name = "large"
label = "Large snails"
boxes = 2
lowest = 0
highest = 99

[[counts]]
name = "small"
label = "Small snails"
boxes = 2
lowest = 0
highest = 99

[[counts]]
name = "total"
label = "All snails"
boxes = 3
lowest = 0
highest = 198

[[sums]]
total = "total"
parts = ["large", "small"]
"""
SITE_LIST = "number,label,contact\n5724,Old wall,wall@example.org\n"

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def spoil(
        *changes: tuple[str, str], more: str = "", sites: str | bytes | None = SITE_LIST
    ) -> Path:
        text = SOUND
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        (tmp_path / "study.toml").write_text(text + more, encoding="utf-8", newline="")
        if isinstance(sites, bytes):
            (tmp_path / "sites.csv").write_bytes(sites)
        elif sites is not None:
            (tmp_path / "sites.csv").write_text(sites, encoding="utf-8", newline="")
        return tmp_path

    return spoil
