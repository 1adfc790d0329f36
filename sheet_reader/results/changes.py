"""What was added, changed and is gone since a former export: a line for each field of a visit."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from pathlib import Path

import pandas as pd

from sheet_reader.errors import UsageError
from sheet_reader.results.cells import render_lines, texts
from sheet_reader.results.former_columns import ROWS_FILE
from sheet_reader.results.frames import ROW_COLUMNS

CHANGES_FILE = "changes.csv"
COLUMNS = ("visit_id", "change", "field", "before", "after")
ID = "visit_id"
OWN = -36
"""So many signs at the end of an identifier are the visit's own, whatever stands before them."""


def changes_since(folder: Path, rows: pd.DataFrame) -> bytes:
    """changes.csv: ``rows`` beside the rows.csv in ``folder``, field by field.

    Raises UsageError where that is no rows.csv of an export.
    """
    before = former_rows(folder)
    cells = {name: texts(rows[name]) for name in rows.columns}
    now = {
        line[ID][OWN:]: line
        for line in (
            dict(zip(cells, row, strict=True)) for row in zip(*cells.values(), strict=True)
        )
    }
    lines = [line for key, row in now.items() for line in _differences(before.get(key), row)]
    lines += [line for key, row in before.items() if key not in now
              for line in _differences(row, None)]  # fmt: skip
    return render_lines(COLUMNS, lines)


def _differences(
    before: Mapping[str, str] | None, after: Mapping[str, str] | None
) -> Iterator[tuple[str, ...]]:
    was, now = before or {}, after or {}
    change = "added" if before is None else "gone" if after is None else "changed"
    for name in dict.fromkeys((*now, *was)):
        if name not in ROW_COLUMNS and was.get(name, "") != now.get(name, ""):
            yield (now or was)[ID], change, name, was.get(name, ""), now.get(name, "")


def former_rows(folder: Path) -> dict[str, dict[str, str]]:
    """The lines of the rows.csv in ``folder`` by the visit's own part of the identifier."""
    path = folder / ROWS_FILE
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, strict=True, restval="")
            header = reader.fieldnames or []
            found = [{name: line[name] for name in header} for line in reader]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UsageError(
            f"the former {ROWS_FILE} can't be read", where=path, remedy=REMEDY
        ) from error
    if ID not in header:
        raise UsageError(
            f"this {ROWS_FILE} has no column {ID}, so nothing can be compared with it",
            where=path,
            remedy=REMEDY,
        )
    return {line[ID][OWN:]: line for line in found}


REMEDY = "give --since a folder that an export wrote with --format csv"
