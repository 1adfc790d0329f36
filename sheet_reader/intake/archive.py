"""Pictures out of a zip archive, within bounds; nothing is ever written where a name says."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from dataclasses import replace

from sheet_reader.intake.files import (
    DEFAULT,
    Arrival,
    Bounds,
    NoPicture,
    Origin,
    file_name,
    one_line,
)
from sheet_reader.intake.pictures import is_picture, suffix_of
from sheet_reader.numbers import INTAKE

MAGIC = b"PK\x03\x04"
ENTRY = b"PK\x01\x02"
DAMAGED = "the zip archive is damaged"
PICTURE_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".pdf")


def is_zip(head: bytes) -> bool:
    """Whether a file starting with these bytes is a zip archive."""
    return head.startswith(MAGIC)


def from_archive(
    name: str, data: bytes, origin: Origin, bounds: Bounds = DEFAULT
) -> Iterator[Arrival | NoPicture]:
    """The pictures in an archive, one in memory at a time; archives in it are not opened.

    ``origin`` says where the archive came from; each picture's own has its name in the archive.
    """
    if data.count(ENTRY) > INTAKE.most_entries:
        yield NoPicture(name, f"the zip archive holds more than {INTAKE.most_entries:,} files")
        return
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        members = [m for m in archive.infolist() if _wanted(m)]
    except Exception:  # zipfile does not document what hostile bytes make it raise
        yield NoPicture(name, DAMAGED)
        return
    left = bounds.zip_bytes
    with archive:
        for member in members[: bounds.zip_members]:
            inner = file_name(member.filename[-500:])
            content = _unpacked(archive, member, min(left, bounds.file_bytes), bounds)
            if isinstance(content, bytes) and is_picture(content[:1100]):
                left -= len(content)
                own = replace(origin, file_name=one_line(inner), container=origin.file_name)
                yield Arrival(inner, content, suffix_of(content), own)
            elif why := content if isinstance(content, str) else _no_picture(inner, content):
                yield NoPicture(f"{name}, {inner}", why)
    if len(members) > bounds.zip_members:
        many = f"{len(members)} files, only the first {bounds.zip_members} were looked at"
        yield NoPicture(name, f"the zip archive holds {many}")


def _wanted(member: zipfile.ZipInfo) -> bool:
    parts = member.filename.replace("\\", "/").split("/")
    return not member.is_dir() and parts[0] != "__MACOSX" and not parts[-1].startswith(".")


def _unpacked(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, most: int, bounds: Bounds
) -> bytes | str:
    """What a file in the archive holds, or why it is left out."""
    if member.file_size > bounds.zip_ratio * max(member.compress_size, 1) + 100_000:
        return "it unpacks to far more than a picture would: left out"
    if member.flag_bits & 0x1:
        return "it is locked with a password"
    try:
        with archive.open(member) as stream:  # the sizes in the archive may lie: read to a bound
            data = stream.read(most + 1)
    except Exception:
        return DAMAGED
    return data if len(data) <= most else "the zip archive holds more than is allowed: left out"


def _no_picture(inner: str, data: bytes) -> str:
    """Why a file in an archive is no picture; "" where none was to be expected."""
    if inner.lower().endswith(PICTURE_ENDINGS):
        return "it is not a picture, whatever its name says" if data else "empty"
    return "an archive inside an archive is not opened" if is_zip(data) else ""
