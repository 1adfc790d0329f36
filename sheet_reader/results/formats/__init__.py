"""The tables of a study in the forms that others can use. Each format is one pure function."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import TYPE_CHECKING, cast

if TYPE_CHECKING:
    from sheet_reader.results.frames import Tables
    from sheet_reader.study.study import Study

    Format = Callable[[Study, Tables], dict[str, bytes]]
    """Makes files (by name, in the folder of the results) of the tables."""

FORMATS: Mapping[str, str] = {
    "csv": "csv_files:csv_files",
    "data-package": "data_package:data_package",
    "darwin-core": "darwin_core.archive:darwin_core",
    "excel": "workbook:workbook",
    "parquet": "parquet:parquet",
}
"""Where each format is made, below this package; loaded when it is asked for."""


def format_named(name: str) -> Format:
    """The maker of a format of :data:`FORMATS`."""
    module, function = FORMATS[name].split(":")
    return cast("Format", getattr(import_module(f"{__name__}.{module}"), function))
