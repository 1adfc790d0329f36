"""Hand out the results of a study as two files of comma-separated values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from sheet_reader.record.lines import ReadingRow
from sheet_reader.record.model import VisitRow
from sheet_reader.results.cells import render_csv
from sheet_reader.results.files import write_together
from sheet_reader.results.tables import readings_table, rows_table
from sheet_reader.study.model import Study

ROWS_FILE = "rows.csv"
READINGS_FILE = "readings.csv"


def export_files(
    study: Study,
    visits: Iterable[VisitRow],
    readings: Iterable[ReadingRow],
    folder: Path,
    photos: Mapping[int, str] | None = None,
) -> list[Path]:
    """Write rows.csv and readings.csv into ``folder``; the same record gives the same bytes.

    Neither holds a name or address of a person, unless ``photos`` (file names by photo number, for
    her own eyes) do. Raises StorageError; then the old files stand.
    """
    files = {
        ROWS_FILE: render_csv(*rows_table(study, visits)),
        READINGS_FILE: render_csv(*readings_table(study, readings, photos)),
    }
    return write_together(folder, files)
