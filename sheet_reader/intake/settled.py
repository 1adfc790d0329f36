"""Files that have arrived whole: a file is taken once nobody has written to it for a while."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

Signature = tuple[int, int]
"""Size in bytes and time of the last change in ns: another one means that the file was written."""


class Settled:
    """Tells new or changed files that have stayed as they are for ``quiet_s`` seconds, each once.

    The clock is the caller's (seconds, monotonic). A file that vanishes is forgotten, so that one
    of the same name is new again.
    """

    def __init__(self, quiet_s: float) -> None:
        self._quiet_s = quiet_s
        self._since: dict[Path, tuple[Signature, float]] = {}
        self._taken: dict[Path, Signature] = {}

    def among(self, paths: Iterable[Path], now_s: float) -> list[Path]:
        """Those of ``paths``, in their order, that have settled and were not :meth:`taken` yet."""
        there = {path: signature for path in paths if (signature := _signature(path))}
        self._since = {
            path: self._since[path] if self._unchanged(path, signature) else (signature, now_s)
            for path, signature in there.items()
        }
        self._taken = {path: seen for path, seen in self._taken.items() if path in there}
        return [
            path
            for path, (signature, since) in self._since.items()
            if now_s - since >= self._quiet_s and self._taken.get(path) != signature
        ]

    def taken(self, paths: Iterable[Path]) -> None:
        """Note that ``paths``, as they were last seen, need not be told of again."""
        self._taken.update({path: self._since[path][0] for path in paths if path in self._since})

    def _unchanged(self, path: Path, signature: Signature) -> bool:
        return path in self._since and self._since[path][0] == signature


def _signature(path: Path) -> Signature | None:
    """None for a file that is gone or can't be looked at."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns
