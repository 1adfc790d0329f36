"""A person's own keys of the page, kept in a file of hers; without one, for this sitting only."""

from __future__ import annotations

import contextlib
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sheet_reader.atomic import atomic_write

ACTS = (
    "nothing", "unreadable", "unlisted", "two_sheets", "back", "forward", "skip", "remark", "date",
    "site", "aside", "photo", "zoom_in", "zoom_out", "to_field", "help",
)  # fmt: skip
"""What can have a key of its own."""


def checked(said: object) -> dict[str, Any]:
    """What the page or the file says, as far as it makes sense: whether single keys are ``on``, and
    ``keys`` by act, each one printed sign that is no digit and stands for one act only, or "".

    >>> checked({"on": False, "keys": {"skip": "J", "back": "4", "odd": "q"}})
    {'on': False, 'keys': {'skip': 'j'}}
    """
    said = said if isinstance(said, dict) else {}
    given = said.get("keys")
    keys = given if isinstance(given, dict) else {}
    found: dict[str, str] = {}
    for act in ACTS:
        key = keys.get(act)
        if not isinstance(key, str):
            continue
        key = key.strip().lower()
        if key == "" or (len(key) == 1 and key.isprintable() and not key.isdigit()
                         and key != "/" and key not in found.values()):  # fmt: skip
            found[act] = key
    return {"on": said.get("on") is not False, "keys": found}


@dataclass
class Habits:
    """Which keys a person uses."""

    file: Path | None = None
    known: dict[str, Any] = field(default_factory=lambda: checked(None))

    def __post_init__(self) -> None:
        if self.file is not None:
            with contextlib.suppress(OSError, ValueError):
                self.known = checked(json.loads(self.file.read_text("utf-8")))

    def keep(self, said: object) -> dict[str, Any]:
        """Keep these; where the file can't be written they hold for this sitting."""
        self.known = checked(said)
        if self.file is not None:
            with contextlib.suppress(OSError):
                atomic_write({self.file: json.dumps(self.known).encode()})
        return self.known
