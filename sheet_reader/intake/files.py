"""What comes in: files and where they came from, with names made safe to show, and how much of
anything is taken at all.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from sheet_reader.numbers import INTAKE

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MEGA = 1_000_000
LONGEST_NAME = INTAKE.longest_name
_ADDRESS = re.compile(r"[^\s@<>()\[\],;:\"'/\\]+@[^\s@<>()\[\],;:\"'/\\]+")
_HIDDEN_CATEGORIES = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


class Readable(Protocol):
    """A file that can be read, as a :class:`~pathlib.Path` and one on a store can."""

    @property
    def name(self) -> str:
        """The last part of its name."""

    def read_bytes(self) -> bytes:
        """All of it; raises OSError."""


class SizedFile(Readable, Protocol):
    """One that also tells its size before it is read."""

    def stat(self) -> Any:
        """Its size in bytes as ``st_size``; raises OSError."""


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a photo came from; kept in the record only, for reminders.

    ``way`` is "folder", "mail" or "mailbox"; ``container`` names the mail file, mailbox or
    archive that held it; ``sent_at`` ISO 8601 or "".
    """

    way: str
    file_name: str
    container: str = ""
    sender: str = ""
    sent_at: str = ""
    subject: str = ""


@dataclass(frozen=True, slots=True)
class Arrival:
    """One file that may hold pictures, unopened. ``name`` can be shown to anyone (no address in
    it); ``suffix`` is the ending its kind has (".jpg"); ``said`` what the mail says that it came
    with.
    """

    name: str
    data: bytes
    suffix: str
    origin: Origin
    said: str = ""


@dataclass(frozen=True, slots=True)
class OpenedPicture:
    """A decoded upright picture. ``gray`` is uint8 (height, width), 0 black, 255 white;
    ``sha256`` the hash of the file's bytes; ``name`` what a person calls it; ``frame`` the number
    of the page within a PDF or TIFF, from 0.
    """

    gray: NDArray[np.uint8]
    sha256: str
    name: str
    frame: int = 0


@dataclass(frozen=True, slots=True)
class NoPicture:
    """A file that gives no picture; ``reason`` in a volunteer's words."""

    name: str
    reason: str
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Upper bounds; whatever is larger is refused with a reason before it is decoded.

    ``file_bytes`` one picture or PDF; ``mail_bytes`` one message; ``pixels`` of one picture;
    ``side`` its longer side in px; ``decoding_bytes`` the memory for decoding it; ``keep_pixels``
    larger pictures are halved until they are smaller; ``pages`` of one PDF or TIFF; ``parts`` of
    one message; ``zip_members``, ``zip_bytes`` (unpacked, all together) and ``zip_ratio``
    (unpacked to packed) of one archive.
    """

    file_bytes: int = 100 * MEGA
    mail_bytes: int = 150 * MEGA
    pixels: int = 120 * MEGA
    side: int = 32_000
    decoding_bytes: int = 600 * MEGA
    keep_pixels: int = 50 * MEGA
    pages: int = 60
    pdf_long_side: int = 3_400
    pdf_side_mm: float = 3_000.0
    parts: int = 200
    zip_members: int = 500
    zip_bytes: int = 1_000 * MEGA
    zip_ratio: float = 200.0


DEFAULT = Bounds()


def too_many_bytes(size: int, limit: int) -> str:
    """The reason that refuses a file of ``size`` bytes where ``limit`` are allowed."""
    return f"the file has {size / 1e6:,.0f} MB, more than the {limit / 1e6:,.0f} MB allowed"


def cannot_be_read(error: OSError) -> str:
    """The reason for a file over which the system stumbles."""
    return f"the file cannot be read: {error.strerror or error}"


def one_line(text: str, longest: int = LONGEST_NAME) -> str:
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
    last = one_line(re.split(r"[/\\]", text.rstrip("/\\"))[-1])
    return (_ADDRESS.sub("…", last) if "@" in last else last) or fallback


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """A sort key that puts ``scan2`` before ``scan10``, whatever the case of the letters."""
    parts = re.split(r"(\d+)", unicodedata.normalize("NFC", text).casefold())
    return tuple((0, int(p[:4000]), p) if p.isdecimal() else (1, 0, p) for p in parts if p)
