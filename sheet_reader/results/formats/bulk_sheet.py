"""A worksheet of XlsxWriter that takes whole columns: several times as fast as cell by cell.

XlsxWriter keeps an object for each cell and writes them one by one; a season of 300 sites has more
than a million. This class writes the rows below the header itself, in XlsxWriter's place
(``_write_rows``), as the inline strings and numbers of ECMA-376 part 1, 18.3.1.4 (CellType).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from xlsxwriter.format import Format
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]|_x[0-9A-Fa-f]{4}_")
LONGEST = 32_767
"""So many characters Excel takes in a cell."""


class Day(int):
    """A day in Excel's count."""


class Marked(str):
    """A word that is marked by colour too."""

    __slots__ = ()


class BulkSheet(Worksheet):  # type: ignore[misc]
    """A worksheet with a header written in the usual way and :meth:`fill` for all below."""

    def __init__(self) -> None:
        super().__init__()
        self._columns: list[list[str]] = []

    def fill(self, columns: Sequence[Sequence[Any]], day: Format, marked: Format) -> None:
        """Set the rows below the header: a text, whole number, float, :class:`Day`,
        :class:`Marked`, or None for an empty cell. Texts stay texts, whatever they look like.
        """
        styles = {Day: f' s="{day._get_xf_index()}"', Marked: f' s="{marked._get_xf_index()}"'}
        self._columns = [
            _rendered(column, xl_col_to_name(place), styles)
            for place, column in enumerate(columns)
        ]
        self.dim_rowmax = max([len(column) for column in columns], default=0)

    def _write_rows(self) -> None:
        super()._write_rows()
        for number, cells in enumerate(zip(*self._columns, strict=True), start=2):
            self.fh.write(f'<row r="{number}">{"".join(cells)}</row>')


def _rendered(column: Sequence[Any], letters: str, styles: dict[type, str]) -> list[str]:
    """Each cell as XML, "" for an empty one."""
    known: dict[tuple[type, Any], str] = {}
    found = []
    for number, cell in enumerate(column, start=2):
        if cell is None:
            found.append("")
            continue
        key = (type(cell), cell)
        body = known.get(key)
        if body is None:
            body = known[key] = _body(cell, styles.get(type(cell), ""))
        found.append(f'<c r="{letters}{number}"{body}')
    return found


def _body(cell: Any, style: str) -> str:
    if isinstance(cell, str):
        text = escape(_CONTROL.sub(_spelt, cell[:LONGEST]))
        return f'{style} t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'
    return f"{style}><v>{float(cell):.16g}</v></c>"


def _spelt(found: re.Match[str]) -> str:
    """A sign that XML can't hold, as ECMA-376 part 1, 22.9.2.19 (ST_Xstring) writes it; a text that
    only looks so gets its underscore written in the same way.
    """
    text = found.group()
    return f"_x{ord(text):04X}_" if len(text) == 1 else f"_x005F{text}"
