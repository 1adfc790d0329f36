"""An Excel workbook: a sheet each for rows, counts, readings and the dictionary.

Texts stay texts: no formula and no link is made of them (XlsxWriter's options
``strings_to_formulas`` and ``strings_to_urls``). Where a value waits or can't be read, a word says
so in the cell, and its colour repeats it.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import astuple
from datetime import datetime
from typing import Any

import pandas as pd
import xlsxwriter

from sheet_reader.results.cells import texts
from sheet_reader.results.formats.bulk_sheet import BulkSheet, Day, Marked
from sheet_reader.results.formats.dictionary import HEADER, entries
from sheet_reader.results.frames import Tables
from sheet_reader.results.values import UNREADABLE, WAITS
from sheet_reader.study.model import Study

NAME = "{key}.xlsx"
OPTIONS = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "nan_inf_to_errors": False,
}
SAME_EVERY_TIME = datetime(2000, 1, 1)
"""When the workbook says it was made: the same tables give the same bytes."""
FIRST_DAY = pd.Timestamp("1899-12-30")
"""Day 0 of Excel's calendar from March 1900 on."""
WIDEST = 40


def workbook(study: Study, tables: Tables) -> dict[str, bytes]:
    """``KEY.xlsx``."""
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, OPTIONS)
    book.set_properties({"title": study.title, "created": SAME_EVERY_TIME})
    sheet = _Sheets(book)
    sheet.add("rows", tables.rows.columns, _rows(tables))
    sheet.add("counts", tables.counts.columns, _columns(tables.counts))
    sheet.add("readings", tables.readings.columns, _columns(tables.readings))
    words = list(zip(*(astuple(entry) for entry in entries(study, tables.earlier)), strict=True))
    sheet.add("dictionary", HEADER, [list(column) for column in words])
    book.close()
    return {NAME.format(key=study.key): stream.getvalue()}


class _Sheets:
    """Writes sheets of one workbook."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self._book = book
        self._head = book.add_format({"bold": True, "bottom": 1, "valign": "top"})
        self._day = book.add_format({"num_format": "yyyy-mm-dd", "align": "left"})
        self._marked = book.add_format({"bg_color": "#FFE699", "italic": True})

    def add(self, name: str, header: Iterable[str], columns: Sequence[Sequence[Any]]) -> None:
        """A sheet with a frozen header and filters; None leaves a cell empty."""
        sheet = self._book.add_worksheet(name, BulkSheet)
        names = list(header)
        sheet.freeze_panes(1, 0)
        sheet.autofilter(0, 0, max(1, len(columns[0]) if columns else 0), len(names) - 1)
        for place, (title, column) in enumerate(zip(names, columns, strict=True)):
            sheet.set_column(place, place, _width(title, column))
        for place, title in enumerate(names):
            sheet.write_string(0, place, title, self._head)
        sheet.fill(columns, self._day, self._marked)


def _width(title: str, column: Sequence[Any]) -> int:
    longest = max((len(str(cell)) for cell in column[:200] if cell is not None), default=0)
    return min(WIDEST, max(len(title) + 3, 10 if isinstance(column, _DayList) else longest + 1))


class _DayList(list[Any]):
    """A column of days."""


def _columns(frame: pd.DataFrame) -> list[list[Any]]:
    """The cells of every column, None where there is no value; waiting ones marked."""
    found = [_cells(frame[name]) for name in frame.columns]
    if "status" in frame.columns:
        place = list(frame.columns).index("status")
        marked = ("flagged", "doubted", "unreadable")
        found[place] = [Marked(cell) if cell in marked else cell for cell in found[place]]
    return found


def _cells(column: pd.Series) -> list[Any]:
    values, there = column.tolist(), column.notna().tolist()
    if str(column.dtype).endswith("UTC]"):
        return [text or None for text in texts(column)]
    if str(column.dtype).startswith("datetime"):
        days = (column - FIRST_DAY).dt.days.tolist()
        return _DayList(Day(d) if ok else None for d, ok in zip(days, there, strict=True))
    if column.dtype == "boolean":
        values = ["yes" if ok and v else "no" for v, ok in zip(values, there, strict=True)]
    return [v if ok and v != "" else None for v, ok in zip(values, there, strict=True)]


def _rows(tables: Tables) -> list[list[Any]]:
    found = []
    for name in tables.rows.columns:
        cells = _cells(tables.rows[name])
        if name in tables.why_missing.columns:
            why = tables.why_missing[name].tolist()
            word = [Marked(w) if w in (WAITS, UNREADABLE) else None for w in why]
            merged = [w or cell for cell, w in zip(cells, word, strict=True)]
            cells = _DayList(merged) if isinstance(cells, _DayList) else merged
        found.append(cells)
    return found
