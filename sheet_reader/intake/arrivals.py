"""Everything that arrived, one file at a time: unopened, unjudged, with where it came from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from sheet_reader.intake.archive import from_archive, is_zip
from sheet_reader.intake.bounds import DEFAULT, Bounds
from sheet_reader.intake.mail import from_mail, from_mbox, is_mail, is_mbox
from sheet_reader.intake.names import file_name, one_line
from sheet_reader.intake.pictures import NOT_A_PICTURE, is_picture, suffix_of, too_many_bytes
from sheet_reader.intake.types import Arrival, Origin, Unreadable
from sheet_reader.numbers import INTAKE

NO_PICTURE = "there is no picture in it"
EMPTY = "the file is empty (0 bytes)"
HEAD = INTAKE.arrival_head


def arrivals(
    paths: Iterable[Path | Unreadable], bounds: Bounds = DEFAULT
) -> Iterator[Arrival | Unreadable]:
    """What the files at ``paths`` hold, in their order; a reason for each that gives nothing.

    What is no file, and has its reason already, is passed on.
    """
    for path in paths:
        if isinstance(path, Unreadable):
            yield path
        else:
            yield from from_file(path, bounds)


def from_file(path: Path, bounds: Bounds = DEFAULT) -> Iterator[Arrival | Unreadable]:
    """What one file holds: a picture, or the pictures in a mail, a mailbox or an archive.

    What kind of file it is shows in its first bytes, never in its name.
    """
    name = file_name(path.name)
    try:
        with path.open("rb") as stream:
            head = stream.read(HEAD)
            if is_mbox(head):
                yield from from_mbox(path, bounds)
                return
            limit = bounds.file_bytes if is_picture(head) else bounds.mail_bytes
            data = head + stream.read(limit - len(head) + 1)
            size = path.stat().st_size
    except OSError as error:
        yield Unreadable(name, f"the file cannot be read: {error.strerror or error}")
        return
    if len(data) > limit:
        yield Unreadable(name, too_many_bytes(size, limit))
    else:
        yield from _sorted_out(name, path, data, bounds)


def _sorted_out(
    name: str, path: Path, data: bytes, bounds: Bounds
) -> Iterator[Arrival | Unreadable]:
    origin = Origin("folder", one_line(path.name))
    if is_zip(data) or is_mail(data[:HEAD]):
        pictures = (
            from_archive(name, data, origin, bounds)
            if is_zip(data)
            else from_mail(data, name, bounds)
        )
        nothing = True
        for item in pictures:
            nothing = False
            yield item
        if nothing:
            yield Unreadable(name, NO_PICTURE)
    else:
        yield as_picture(name, data, origin)


def as_picture(name: str, data: bytes, origin: Origin) -> Arrival | Unreadable:
    """A file as a picture to be read, judged by its first bytes only."""
    if not data:
        return Unreadable(name, EMPTY)
    if not is_picture(data[:1100]):
        return Unreadable(name, NOT_A_PICTURE)
    return Arrival(name, data, suffix_of(data), origin)
