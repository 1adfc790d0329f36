"""Pictures out of a zip archive, within bounds; nothing is ever written where a name says."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from dataclasses import replace

from sheet_reader.intake.bounds import Bounds
from sheet_reader.intake.names import file_name, one_line
from sheet_reader.intake.pictures import is_picture, suffix_of
from sheet_reader.intake.types import Arrival, Origin, Unreadable
from sheet_reader.numbers import INTAKE

MAGIC = b"PK\x03\x04"
ENTRY = b"PK\x01\x02"
MOST_ENTRIES = INTAKE.most_entries
DAMAGED = "the zip archive is damaged"
PICTURE_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".pdf")


def is_zip(head: bytes) -> bool:
    """Whether a file starting with these bytes is a zip archive."""
    return head.startswith(MAGIC)


def from_archive(
    name: str, data: bytes, origin: Origin, bounds: Bounds
) -> Iterator[Arrival | Unreadable]:
    """The pictures in an archive, one in memory at a time; archives in it are not opened.

    ``origin`` says where the archive came from; each picture's own has its name in the archive.
    """
    if data.count(ENTRY) > MOST_ENTRIES:
        yield Unreadable(name, f"the zip archive holds more than {MOST_ENTRIES:,} files")
        return
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        members = [m for m in archive.infolist() if _wanted(m)]
    except Exception:  # zipfile does not document what hostile bytes make it raise
        yield Unreadable(name, DAMAGED)
        return
    left = bounds.zip_bytes
    with archive:
        for member in members[: bounds.zip_members]:
            item = _member(archive, member, name, origin, min(left, bounds.file_bytes), bounds)
            if isinstance(item, Arrival):
                left -= len(item.data)
            if item is not None:
                yield item
    if len(members) > bounds.zip_members:
        many = f"{len(members)} files, only the first {bounds.zip_members} were looked at"
        yield Unreadable(name, f"the zip archive holds {many}")


def _wanted(member: zipfile.ZipInfo) -> bool:
    parts = member.filename.replace("\\", "/").split("/")
    return not member.is_dir() and parts[0] != "__MACOSX" and not parts[-1].startswith(".")


def _member(
    archive: zipfile.ZipFile,
    member: zipfile.ZipInfo,
    name: str,
    origin: Origin,
    most: int,
    bounds: Bounds,
) -> Arrival | Unreadable | None:
    inner = file_name(member.filename[-500:])
    shown = f"{name}, {inner}"
    if member.file_size > bounds.zip_ratio * max(member.compress_size, 1) + 100_000:
        return Unreadable(shown, "it unpacks to far more than a picture would: left out")
    if member.flag_bits & 0x1:
        return Unreadable(shown, "it is locked with a password")
    try:
        with archive.open(member) as stream:  # the sizes in the archive may lie: read to a bound
            data = stream.read(most + 1)
    except Exception:
        return Unreadable(shown, DAMAGED)
    if len(data) > most:
        return Unreadable(shown, "the zip archive holds more than is allowed: left out")
    if is_picture(data[:1100]):
        own = replace(origin, file_name=one_line(inner), container=origin.file_name)
        return Arrival(inner, data, suffix_of(data), own)
    if inner.lower().endswith(PICTURE_ENDINGS):
        return Unreadable(shown, "it is not a picture, whatever its name says" if data else "empty")
    if is_zip(data):
        return Unreadable(shown, "an archive inside an archive is not opened")
    return None
