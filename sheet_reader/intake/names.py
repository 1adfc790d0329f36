"""Names from outside made safe to show: one line, short, no addresses, no control characters."""

from __future__ import annotations

import re
import unicodedata

from sheet_reader.numbers import INTAKE

LONGEST = INTAKE.longest_name
_ADDRESS = re.compile(r"[^\s@<>()\[\],;:\"'/\\]+@[^\s@<>()\[\],;:\"'/\\]+")
_HIDDEN_CATEGORIES = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def one_line(text: str, longest: int = LONGEST) -> str:
    """``text`` on one line: control and invisible characters become spaces, runs of spaces one.

    A text longer than ``longest`` characters is cut in the middle, so that its ending shows.
    """
    head = text if len(text) < 40 * longest else text[: 20 * longest] + text[-20 * longest :]
    shown = "".join(" " if unicodedata.category(c) in _HIDDEN_CATEGORIES else c for c in head)
    shown = " ".join(shown.split())
    if len(shown) <= longest:
        return shown
    tail = longest // 3
    return f"{shown[: longest - tail - 1]}…{shown[-tail:]}"


def file_name(text: str, fallback: str = "unnamed") -> str:
    """The last part of a path as a name to show: no folders, one line, no mail addresses.

    >>> file_name("../../etc/jo@example.org\\nscan.jpg")
    '… scan.jpg'
    """
    last = re.split(r"[/\\]", text.rstrip("/\\"))[-1]
    return without_addresses(one_line(last)) or fallback


def without_addresses(text: str) -> str:
    """``text`` with every mail address replaced by an ellipsis."""
    return _ADDRESS.sub("…", text) if "@" in text else text


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """A sort key that puts ``scan2`` before ``scan10``, whatever the case of the letters."""
    parts = re.split(r"(\d+)", unicodedata.normalize("NFC", text).casefold())
    return tuple((0, int(p[:4000]), p) if p.isdecimal() else (1, 0, p) for p in parts if p)
