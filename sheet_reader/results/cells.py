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
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

_NUMBER = re.compile(r"-?\d+(\.\d+)?")
_STARTS_FORMULA = re.compile(r"(^|[;|\t\r\n])(\s*)([=+\-@＝＋－＠])|^([\t\r\n])")


def safe_cell(text: str) -> str:
    """``text``, guarded so that no spreadsheet runs it; numbers stay as they are."""
    if _NUMBER.fullmatch(text):
        return text
    return _STARTS_FORMULA.sub(_guard, text)


def _guard(match: re.Match[str]) -> str:
    before, space, sign, control = match.groups()
    if control is not None:
        return f"'{control}"
    return f"'{space}{sign}" if not before else f"{before}'{space}{sign}"


def render_csv(header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """UTF-8 text after RFC 4180, every cell guarded by :func:`safe_cell`."""
    guarded = ([safe_cell(cell) for cell in row] for row in rows)
    return render_lines([safe_cell(cell) for cell in header], guarded)


def render_frame(frame: pd.DataFrame) -> bytes:
    """A table as CSV: days and times as ISO 8601, yes and no, nothing where a value is missing."""
    columns = [texts(frame[name]) for name in frame.columns]
    return render_lines(list(frame.columns), zip(*columns, strict=True))


def render_lines(header: Sequence[str], lines: Iterable[Sequence[str]]) -> bytes:
    """As :func:`render_csv`, for cells that :func:`texts` has made safe."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(lines)
    return text.getvalue().encode("utf-8", errors="replace")


def texts(column: pd.Series, missing: str = "") -> list[str]:
    """The cells of a column as text, each made safe; ``missing`` where there is no value."""
    values = column.tolist()
    there = column.notna().tolist()
    kind = str(column.dtype)
    if kind.endswith("UTC]"):
        shown: Callable[[Any], str] = _time
    elif kind.startswith("datetime"):
        values = np.datetime_as_string(column.to_numpy("datetime64[D]")).tolist()
        shown = str
    elif kind == "boolean":
        shown = _yes
    elif kind.startswith("Float"):
        shown = probability
    elif kind.startswith("Int"):
        shown = str
    else:
        shown = lru_cache(maxsize=65_536)(safe_cell)
    return [shown(v) if ok else missing for v, ok in zip(values, there, strict=True)]


def _time(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def probability(value: float) -> str:
    """A probability with up to six decimals, never in scientific notation."""
    return f"{value:.6f}".rstrip("0").rstrip(".")
