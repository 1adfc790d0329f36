"""Bounds of single formats and what is looked at, with unit and origin.

How much of anything is taken at all stands in ``bounds.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import parameter

_HOSTILE = "choice: far above any honest file, bounds the time of a hostile one"
_READ = "choice: the marks that are looked for stand further up"


@dataclass(frozen=True, slots=True)
class IntakeParameters:
    """All of the room, in the order of its modules."""

    most_entries: int = parameter(
        20_000, "entries", _HOSTILE, "of a zip archive that are looked at"
    )
    arrival_head: int = parameter(8192, "bytes", _READ, "from which the kind of a file is told")
    band_pixels: int = parameter(
        4_000_000, "pixels", "choice: bounds memory", "made grey at a time"
    )
    imap_port: int = parameter(
        993, "port", "standard: RFC 8314, IMAP over TLS", "where the address names none"
    )
    imap_seconds: float = parameter(
        60.0, "s", "choice: a choice of this house, no source", "that a mail server may keep silent"
    )
    most_separators: int = parameter(10_000, "lines", _HOSTILE, "that may part a message")
    most_lines_times_depth: int = parameter(
        40_000_000, "lines x depth", _HOSTILE, "of parts within parts"
    )
    longest_header: int = parameter(8_000, "characters", _HOSTILE, "of a header that are read")
    smallest_side_px: int = parameter(
        400,
        "px",
        "choice: a logo under the text is smaller, a sheet is not",
        "longer side of a picture that may show a sheet",
    )
    longest_mail_text: int = parameter(
        2_000, "characters", "choice: a remark, not a report", "of a mail's text that are kept"
    )
    longest_name: int = parameter(
        120, "characters", "choice: fits two lines of a terminal", "of a name that is told"
    )
    overlay_head: int = parameter(
        4096, "bytes", _READ, "that are searched for the mark of an overlay"
    )
    tags_head: int = parameter(8192, "bytes", _READ, "that are searched for tags")


INTAKE = IntakeParameters()
"""In force."""
