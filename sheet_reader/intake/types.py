"""Values that leave the intake room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray


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
class Picture:
    """A decoded upright picture. ``gray`` is uint8 (height, width), 0 black, 255 white;
    ``sha256`` the hash of the file's bytes; ``name`` what a person calls it; ``frame`` the number
    of the page within a PDF or TIFF, from 0.
    """

    gray: NDArray[np.uint8]
    sha256: str
    name: str
    frame: int = 0


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A file that gives no picture; ``reason`` in a volunteer's words."""

    name: str
    reason: str
    sha256: str = ""


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
