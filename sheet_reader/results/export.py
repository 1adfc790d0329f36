"""Hand out the results of a study: the tables, in one format or several, and what changed."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import pandas as pd

from sheet_reader.errors import UsageError
from sheet_reader.results.cells import render_lines, texts
from sheet_reader.results.formats import format_named
from sheet_reader.results.frames import ROW_COLUMNS, Tables
from sheet_reader.results.whole_files import write_together
from sheet_reader.study.study import Study

ROWS_FILE, CHANGES_FILE = "rows.csv", "changes.csv"
CHANGE_COLUMNS = ("visit_id", "change", "field", "before", "after")
ID = "visit_id"
OWN = -36
"""So many signs at the end of an identifier are the visit's own, whatever stands before them."""


def export_files(
    study: Study,
    tables: Tables,
    folder: Path,
    formats: Iterable[str] = ("csv",),
    since: Path | None = None,
) -> list[Path]:
    """Write the tables into ``folder``; the same record gives the same bytes. With them goes what
    changed ``since`` the export in that folder; without it, since the one that lies in ``folder``,
    where CSV is written.

    No file holds a name or address of a person (readings do where the tables were made with the
    photos' own file names). Raises StorageError, and UsageError where a format
    needs a package that is not installed, or the former rows.csv is none; then the old files stand.
    """
    files: dict[str, bytes] = {}
    for name in dict.fromkeys(formats):
        files |= format_named(name)(study, tables)
    if since is not None or (ROWS_FILE in files and ID in columns_of(folder)):
        files[CHANGES_FILE] = changes_since(since or folder, tables.rows)
    return write_together(folder, files)


def columns_of(folder: Path) -> list[str]:
    """The columns of the rows.csv that lies in ``folder``; none where there is none."""
    try:
        with (folder / ROWS_FILE).open(encoding="utf-8-sig", newline="") as file:
            return next(csv.reader(file), [])
    except (OSError, UnicodeDecodeError, csv.Error):
        return []


def lost_columns(study: Study, before: list[str], folder: Path) -> list[str]:
    """A line about the columns of ``before`` that the rows.csv now in ``folder`` lacks, if any."""
    now = columns_of(folder)
    lost = [name for name in before if name not in now]
    if not lost or not now:
        return []
    has = "column" if len(lost) == 1 else "columns"
    return [
        f"{ROWS_FILE} lacks the {has} {', '.join(lost)} that it had when it was last written here: "
        f"study.toml has no such field now. If one was renamed, sheet-reader names {study.folder} "
        "puts it under its new name"
    ]


def changes_since(folder: Path, rows: pd.DataFrame) -> bytes:
    """changes.csv: what was added, changed and is gone in ``rows`` beside the rows.csv in
    ``folder``, a line for each field of a visit.

    Raises UsageError where that is no rows.csv of an export.
    """
    before = former_rows(folder)
    columns = [texts(rows[name]) for name in rows.columns]
    cells = (dict(zip(rows.columns, line, strict=True)) for line in zip(*columns, strict=True))
    now = {line[ID][OWN:]: line for line in cells}
    lines = [line for key, row in now.items() for line in _differences(before.get(key), row)]
    lines += [line for key, row in before.items() if key not in now
              for line in _differences(row, None)]  # fmt: skip
    return render_lines(CHANGE_COLUMNS, lines)


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
    remedy = "give --since a folder that an export wrote with --format csv"
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, strict=True, restval="")
            header = reader.fieldnames or []
            found = [{name: line[name] for name in header} for line in reader]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UsageError(
            f"the former {ROWS_FILE} can't be read", where=path, remedy=remedy
        ) from error
    if ID not in header:
        raise UsageError(
            f"this {ROWS_FILE} has no column {ID}, so nothing can be compared with it",
            where=path, remedy=remedy,
        )  # fmt: skip
    return {line[ID][OWN:]: line for line in found}
