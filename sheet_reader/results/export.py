"""Hand out the results of a study: the tables, in one format or several."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from importlib import import_module
from pathlib import Path
from typing import cast

from sheet_reader.results.changes import CHANGES_FILE, ID, changes_since
from sheet_reader.results.files import write_together
from sheet_reader.results.former_columns import ROWS_FILE, columns_of
from sheet_reader.results.frames import Tables
from sheet_reader.study.model import Study

Format = Callable[[Study, Tables], dict[str, bytes]]
"""Makes files (by name, in the folder of the results) of the tables."""

_HERE = "sheet_reader.results.formats"
FORMATS: Mapping[str, str] = {
    "csv": f"{_HERE}.csv_files:csv_files",
    "data-package": f"{_HERE}.data_package:data_package",
    "darwin-core": f"{_HERE}.darwin_core.archive:darwin_core",
    "excel": f"{_HERE}.workbook:workbook",
    "parquet": f"{_HERE}.parquet:parquet",
}
"""Where each format is made; loaded when it is asked for."""


def format_named(name: str) -> Format:
    """The maker of a format of :data:`FORMATS`."""
    module, function = FORMATS[name].split(":")
    return cast(Format, getattr(import_module(module), function))


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
