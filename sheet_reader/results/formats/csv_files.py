"""Plain CSV files: rows, counts, readings and the data dictionary."""

from __future__ import annotations

from sheet_reader.results.cells import render_frame
from sheet_reader.results.formats.dictionary import dictionary_csv, dictionary_markdown
from sheet_reader.results.frames import Tables
from sheet_reader.study.study import Study


def csv_files(study: Study, tables: Tables) -> dict[str, bytes]:
    """rows.csv, counts.csv, readings.csv, dictionary.csv and dictionary.md."""
    return {
        "rows.csv": render_frame(tables.rows),
        "counts.csv": render_frame(tables.counts),
        "readings.csv": render_frame(tables.readings),
        "dictionary.csv": dictionary_csv(study, tables.earlier),
        "dictionary.md": dictionary_markdown(study, tables.earlier),
    }
