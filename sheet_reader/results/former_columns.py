"""Columns that rows.csv had before and lacks now, so that none goes without a word."""

from __future__ import annotations

import csv
from pathlib import Path

from sheet_reader.study.model import Study

ROWS_FILE = "rows.csv"


def columns_of(folder: Path) -> list[str]:
    """The columns of the rows.csv that lies in ``folder``; none where there is none."""
    try:
        with (folder / ROWS_FILE).open(encoding="utf-8-sig", newline="") as file:
            return next(csv.reader(file), [])
    except (OSError, UnicodeDecodeError, csv.Error):
        return []


def lost_columns(study: Study, before: list[str], folder: Path) -> list[str]:
    """A line about each column of ``before`` that the rows.csv now in ``folder`` lacks."""
    now = columns_of(folder)
    if not before or not now:
        return []
    lost = [name for name in before if name not in now]
    if not lost:
        return []
    has = "column" if len(lost) == 1 else "columns"
    return [
        f"{ROWS_FILE} lacks the {has} {', '.join(lost)} that it had when it was last written here: "
        f"study.toml has no such field now. If one was renamed, sheet-reader names {study.folder} "
        "puts it under its new name"
    ]
