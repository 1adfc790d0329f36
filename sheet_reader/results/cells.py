"""Cells and files of comma-separated values that are safe to open anywhere.

RFC 4180: CRLF line ends, quotes doubled. No cell starts a formula: the characters that do are
those of the OWASP page "CSV Injection" (= + - @, tab, carriage return, and their full-width
forms), also after a character that some spreadsheets take for a separator. Such a cell gets a
leading apostrophe, which spreadsheets show as plain text.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

_NUMBER = re.compile(r"-?\d+(\.\d+)?")
_STARTS_FORMULA = re.compile(r"(^|[;|\t\r\n])(\s*)([=+\-@＝＋－＠])|^([\t\r\n])")


def safe_cell(text: str) -> str:
    """``text``, guarded so that no spreadsheet runs it; numbers stay as they are."""
    return text if _NUMBER.fullmatch(text) else _STARTS_FORMULA.sub(_guard, text)


def _guard(match: re.Match[str]) -> str:
    before, space, sign, control = match.groups()
    return f"'{control}" if control is not None else f"{before}'{space}{sign}"


def render_csv(header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """UTF-8 text after RFC 4180, every cell guarded by :func:`safe_cell`."""
    return render_lines(map(safe_cell, header), (map(safe_cell, row) for row in rows))


def render_frame(frame: pd.DataFrame) -> bytes:
    """A table as CSV: days and times as ISO 8601, yes and no, nothing where a value is missing."""
    columns = [texts(frame[name]) for name in frame.columns]
    return render_lines(list(frame.columns), zip(*columns, strict=True))


def render_lines(header: Iterable[str], lines: Iterable[Iterable[str]]) -> bytes:
    """As :func:`render_csv`, for cells that :func:`texts` has made safe."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(lines)
    return text.getvalue().encode("utf-8", errors="replace")


def texts(column: pd.Series) -> list[str]:
    """The cells of a column as text, each made safe; "" where there is no value."""
    values, there, kind = column.tolist(), column.notna().tolist(), str(column.dtype)
    shown: Callable[[Any], str] = str
    if kind.endswith("UTC]"):
        shown = "{:%Y-%m-%dT%H:%M:%SZ}".format
    elif kind.startswith("datetime"):
        values = np.datetime_as_string(column.to_numpy("datetime64[D]")).tolist()
    elif kind == "boolean":
        shown = {True: "yes", False: "no"}.__getitem__
    elif kind.startswith("Float"):
        shown = plain_number
    elif not kind.startswith("Int"):
        shown = lru_cache(maxsize=65_536)(safe_cell)
    return [shown(v) if ok else "" for v, ok in zip(values, there, strict=True)]


def plain_number(value: float) -> str:
    """A number with up to six decimals, never in scientific notation."""
    return f"{value:.6f}".rstrip("0").rstrip(".")
