"""Everything that arrived, one file at a time: unopened, unjudged, with where it came from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from sheet_reader.intake.bounds import DEFAULT, Bounds
from sheet_reader.intake.names import file_name, one_line
from sheet_reader.intake.pictures import NOT_A_PICTURE, is_heif, is_picture, too_many_bytes
from sheet_reader.intake.types import Arrival, Origin, Unreadable

EMPTY = "the file is empty (0 bytes)"


def arrivals(paths: Iterable[Path], bounds: Bounds = DEFAULT) -> Iterator[Arrival | Unreadable]:
    """What the files at ``paths`` hold, in their order; a reason for each that gives nothing."""
    for path in paths:
        yield from from_file(path, bounds)


def from_file(path: Path, bounds: Bounds = DEFAULT) -> Iterator[Arrival | Unreadable]:
    """What one file holds."""
    name = file_name(path.name)
    try:
        size = path.stat().st_size
        if size > bounds.file_bytes:
            yield Unreadable(name, too_many_bytes(size, bounds.file_bytes))
            return
        data = path.read_bytes()
    except OSError as error:
        yield Unreadable(name, f"the file cannot be read: {error.strerror or error}")
        return
    yield as_picture(name, data, Origin("folder", one_line(path.name)))


def as_picture(name: str, data: bytes, origin: Origin) -> Arrival | Unreadable:
    """A file as a picture to be read, judged by its first bytes only."""
    if not data:
        return Unreadable(name, EMPTY)
    if not is_picture(data[:1100]):
        return Unreadable(name, NOT_A_PICTURE)
    return Arrival(name, data, suffix_of(data), origin)


def suffix_of(data: bytes) -> str:
    """The usual ending for a file's kind, by its content."""
    if data.startswith(b"\xff\xd8\xff"):
        return ".jpg"
    if data.startswith(b"\x89PNG"):
        return ".png"
    if data[:4] == b"RIFF":
        return ".webp"
    if data[:2] in (b"II", b"MM"):
        return ".tif"
    return ".heic" if is_heif(data) else ".pdf"
