"""The tables of a study as pandas data frames, for statistics.

Every column has one dtype, whatever the record holds: ``string`` for text and for site numbers,
so that ``0174`` stays ``0174``, ``datetime64[ns]`` for dates, ``Int64`` for whole numbers,
``Float64`` for other ones, ``boolean`` for yes or no. An empty cell of the table is a missing value
(``pd.NA``, for dates ``pd.NaT``), never a 0 and never an empty text.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import product
from typing import Literal

import pandas as pd

from sheet_reader.record.lines import ReadingRow
from sheet_reader.record.model import VisitRow
from sheet_reader.record.states import Visit
from sheet_reader.results.tables import (
    RECORDED,
    WAITING_COLUMN,
    Lines,
    readings_table,
    rows_table,
)
from sheet_reader.study.model import Study

Kind = Literal["string", "datetime64[ns]", "Int64", "Float64", "boolean"]

_OF_FIELDS: Mapping[str, Kind] = {
    "site": "string",
    "date": "datetime64[ns]",
    "number": "Int64",
    "count": "Int64",
}
_OF_READINGS: Mapping[str, Kind] = {
    "pdf_page": "Int64",
    "page": "Int64",
    "visit_date": "datetime64[ns]",
    "confidence": "Float64",
    "runner_up_confidence": "Float64",
}
_OF_COUNTS: Mapping[str, Kind] = {
    "site": "string",
    "site_name": "string",
    "visit_date": "datetime64[ns]",
    "plot": "string",
    "treatment": "string",
    "count": "string",
    "value": "Int64",
    "unit": "string",
    "status": "string",
    "decided": "boolean",
    "effort": "Float64",
    "photo": "string",
}


def rows_frame(study: Study, visits: Iterable[VisitRow]) -> pd.DataFrame:
    """The lines of rows.csv: one per visit, a column for each field, then how many wait.

    The site's column is ``string``, the date's ``datetime64[ns]``, all others are ``Int64``.
    """
    kinds = {spec.name: _OF_FIELDS[spec.kind] for spec in study.fields}
    return _frame(rows_table(study, visits), {WAITING_COLUMN: "Int64", **kinds})


def readings_frame(study: Study, readings: Iterable[ReadingRow]) -> pd.DataFrame:
    """The lines of readings.csv: one per field and photo.

    ``pdf_page`` and ``page`` are ``Int64``, ``visit_date`` is ``datetime64[ns]``, the two
    confidences (0..1) are ``Float64``; all else is ``string``, also ``value``, which may be a
    count, a site number or a date.
    """
    return _frame(readings_table(study, readings), _OF_READINGS)


def counts_frame(study: Study, visits: Iterable[Visit]) -> pd.DataFrame:
    """One line per site, visit, plot and count, in the order of rows.csv and of the sheet.

    Visits whose site or date waits have none, nor have counts on a page that has not arrived.
    ``value`` (``Int64``) is missing where ``status`` is none of accepted, confirmed and corrected;
    ``decided`` (``boolean``) says whether a person gave it, ``photo`` which photo it is from.
    ``effort`` (``Float64``) is missing in a study that states none. ``visit_date`` is
    ``datetime64[ns]``, and all else ``string``.
    """
    settled = [visit for visit in visits if visit.site and visit.visit_date]
    settled.sort(key=lambda visit: (visit.site, visit.visit_date))
    lines = [line for visit in settled for line in _lines(study, visit)]
    return _frame((list(_OF_COUNTS), lines), _OF_COUNTS)


def _lines(study: Study, visit: Visit) -> Iterable[list[str]]:
    """The lines of one visit as text, like those of the other tables."""
    current = {state.reading.field: state for state in visit.fields if state.is_current}
    site = study.site(visit.site)
    for plot, count in product(study.plots, study.counts):
        state = current.get(f"{plot.name}.{count.name}")
        if state is None:
            continue
        yield [
            visit.site,
            site.label if site else "",
            visit.visit_date,
            plot.name,
            plot.treatment,
            count.name,
            (state.value or "") if state.status in RECORDED else "",
            count.unit,
            state.status,
            "yes" if state.decision is not None else "",
            "",
            state.observation.photo,
        ]


def _frame(table: Lines, kinds: Mapping[str, Kind]) -> pd.DataFrame:
    """A frame of text cells, each column as ``kinds`` says, "string" where it does not."""
    header, lines = table
    cells = {name: [line[place] for line in lines] for place, name in enumerate(header)}
    return pd.DataFrame(
        {name: _column(texts, kinds.get(name, "string")) for name, texts in cells.items()}
    )


def _column(texts: Sequence[str], kind: Kind) -> pd.Series:
    if kind == "boolean":
        return pd.Series([bool(text) for text in texts], dtype="boolean")
    if kind == "datetime64[ns]":
        days = pd.to_datetime(pd.Series(texts, dtype="object"), format="%Y-%m-%d")
        return days.astype("datetime64[ns]")
    if kind == "Int64":
        return pd.Series([int(text) if text else pd.NA for text in texts], dtype="Int64")
    if kind == "Float64":
        return pd.Series([float(text) if text else pd.NA for text in texts], dtype="Float64")
    return pd.Series([text or pd.NA for text in texts], dtype="string")
