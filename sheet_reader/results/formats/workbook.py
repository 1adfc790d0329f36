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
from xlsxwriter.worksheet import Worksheet

from sheet_reader.results.cells import texts
from sheet_reader.results.facts import UNREADABLE, WAITS
from sheet_reader.results.formats.dictionary import HEADER, entries
from sheet_reader.results.frames import Tables
from sheet_reader.study.study import Study

NAME = "{key}.xlsx"
OPTIONS = {
    "in_memory": True,
    "constant_memory": True,  # row by row, so that a season's million cells need no memory
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "nan_inf_to_errors": False,
}
SAME_EVERY_TIME = datetime(2000, 1, 1)
"""When the workbook says it was made: the same tables give the same bytes."""
FIRST_DAY = pd.Timestamp("1899-12-30")
"""Day 0 of Excel's calendar from March 1900 on."""
WIDEST, DAY_WIDTH = 40, 10


class Marked(str):
    """A word that is marked by colour too."""

    __slots__ = ()


class LikeMarkup(str):
    """A text in ``<r>``, which XlsxWriter takes for its own markup unless it comes in pieces."""

    __slots__ = ()


def workbook(study: Study, tables: Tables) -> dict[str, bytes]:
    """``KEY.xlsx``."""
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, OPTIONS)
    book.set_properties({"title": study.title, "created": SAME_EVERY_TIME})
    lines = map(astuple, entries(study, tables.earlier))
    dictionary = pd.DataFrame(lines, columns=HEADER, dtype="string")
    _add_sheets(
        book,
        {
            "rows": (tables.rows, _rows(tables)),
            "counts": (tables.counts, _columns(tables.counts)),
            "readings": (tables.readings, _columns(tables.readings)),
            "dictionary": (dictionary, _columns(dictionary)),
        },
    )
    book.close()
    return {NAME.format(key=study.key): stream.getvalue()}


def _add_sheets(
    book: xlsxwriter.Workbook, sheets: dict[str, tuple[pd.DataFrame, Sequence[Sequence[Any]]]]
) -> None:
    """A sheet for each table, with a frozen header and filters; None leaves a cell empty."""
    head = book.add_format({"bold": True, "bottom": 1, "valign": "top"})
    day = book.add_format({"num_format": "yyyy-mm-dd", "align": "left"})
    marked = book.add_format({"bg_color": "#FFE699", "italic": True})

    def mark(sheet: Worksheet, row: int, column: int, word: str, *_: object) -> int:
        return int(sheet.write_string(row, column, word, marked))

    def in_pieces(sheet: Worksheet, row: int, column: int, text: str, *_: object) -> int:
        return int(sheet.write_rich_string(row, column, *text))

    for name, (frame, columns) in sheets.items():
        sheet = book.add_worksheet(name)
        sheet.add_write_handler(Marked, mark)
        sheet.add_write_handler(LikeMarkup, in_pieces)
        sheet.freeze_panes(1, 0)
        sheet.autofilter(0, 0, max(1, len(frame)), len(frame.columns) - 1)
        for place, (title, column) in enumerate(zip(frame.columns, columns, strict=True)):
            is_day = _is_day(frame[title])
            sheet.set_column(place, place, _width(title, column, is_day), day if is_day else None)
        sheet.write_row(0, 0, frame.columns, head)
        for number, line in enumerate(zip(*columns, strict=True), start=1):
            sheet.write_row(number, 0, line)


def _width(title: str, column: Sequence[Any], is_day: bool) -> int:
    longest = max((len(str(cell)) for cell in column[:200] if cell is not None), default=0)
    return min(WIDEST, max(len(title) + 3, DAY_WIDTH if is_day else longest + 1))


def _is_day(column: pd.Series) -> bool:
    return str(column.dtype) == "datetime64[ns]"


def _columns(frame: pd.DataFrame) -> list[list[Any]]:
    """The cells of every column, None where there is no value; waiting ones marked."""
    found = {name: _cells(frame[name]) for name in frame.columns}
    if "status" in found:
        marked = ("flagged", "doubted", "unreadable")
        found["status"] = [Marked(cell) if cell in marked else cell for cell in found["status"]]
    return list(found.values())


def _cells(column: pd.Series) -> list[Any]:
    values, there = column.tolist(), column.notna().tolist()
    if _is_day(column):
        values = (column - FIRST_DAY).dt.days.tolist()
    elif column.dtype == "boolean" or str(column.dtype).endswith("UTC]"):
        values = texts(column)
    elif column.dtype == "string":
        values = [LikeMarkup(v) if ok and v[:3] == "<r>" else v
                  for v, ok in zip(values, there, strict=True)]  # fmt: skip
    return [v if ok and v != "" else None for v, ok in zip(values, there, strict=True)]


def _rows(tables: Tables) -> list[list[Any]]:
    found = []
    for name, cells in zip(tables.rows.columns, _columns(tables.rows), strict=True):
        why: Iterable[str] = tables.why_missing.get(name, [""] * len(cells))
        found.append(
            [Marked(w) if w in (WAITS, UNREADABLE) else c for c, w in zip(cells, why, strict=True)]
        )
    return found
