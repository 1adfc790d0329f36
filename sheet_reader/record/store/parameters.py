"""How long the record waits, how much it shows and keeps beside, with unit and origin."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import parameter

_HOUSE = "choice: a choice of this house, no source"
_SCREEN = "choice: fits a screen"


@dataclass(frozen=True, slots=True)
class RecordParameters:
    """All of the room, in the order of its modules."""

    backup_pages: int = parameter(
        2_000, "pages of the database", _HOUSE, "copied before others may write again"
    )
    checksum_rows: int = parameter(
        500,
        "rows",
        "choice: fewer than SQLite takes parameters in one statement",
        "looked up at a time",
    )
    claim_seconds: int = parameter(
        900, "s", _HOUSE, "after which the claim of a process that is gone holds no longer"
    )
    most_attempts: int = parameter(3, "attempts", _HOUSE, "at a photo at which the reader dies")
    busy_seconds: int = parameter(60, "s", _HOUSE, "that a writer waits for another")
    context_px_per_mm: float = parameter(
        6.0, "px/mm", "choice: handwriting can be read well", "of the picture around a field"
    )
    context_left_mm: float = parameter(68.0, "mm", _HOUSE, "of paper shown left of a field's boxes")
    context_right_mm: float = parameter(
        10.0, "mm", _HOUSE, "of paper shown right of a field's boxes"
    )
    context_above_mm: float = parameter(6.0, "mm", _HOUSE, "of paper shown above a field's boxes")
    context_below_mm: float = parameter(6.0, "mm", _HOUSE, "of paper shown below a field's boxes")
    context_longest_px: int = parameter(
        1200, "px", _HOUSE, "longer side of the picture around a field"
    )
    leftover_seconds: int = parameter(
        86_400, "s", _HOUSE, "after which a half-written file of a process unknown is removed"
    )
    most_named: int = parameter(8, "names", _SCREEN, "told in one line")
    shortest_trace: int = parameter(3, "characters", _HOUSE, "of a name that is searched for")
    most_trace_lines: int = parameter(20, "lines", _SCREEN, "told of traces that are left")
    many_differ: int = parameter(
        3, "fields", _HOUSE, "that differ between photos, from which on one may be of another visit"
    )
    lease_seconds: int = parameter(
        300, "s", _HOUSE, "for which a question that is shown to one person is not put to another"
    )


RECORD = RecordParameters()
"""In force."""
