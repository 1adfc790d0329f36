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
from collections.abc import Iterable, Sequence

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
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([safe_cell(cell) for cell in header])
    for row in rows:
        writer.writerow([safe_cell(cell) for cell in row])
    return text.getvalue().encode("utf-8", errors="replace")


def probability(value: float) -> str:
    """A probability with up to six decimals, never in scientific notation."""
    return f"{value:.6f}".rstrip("0").rstrip(".")
