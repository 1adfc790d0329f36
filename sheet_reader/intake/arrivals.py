"""Everything that arrived, one file at a time: unopened, unjudged, with where it came from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from sheet_reader.intake.archive import from_archive, is_zip
from sheet_reader.intake.files import (
    DEFAULT,
    Arrival,
    NoPicture,
    Origin,
    cannot_be_read,
    file_name,
    one_line,
    too_many_bytes,
)
from sheet_reader.intake.mail import from_mail, from_mbox, is_mail, is_mbox
from sheet_reader.intake.pictures import EMPTY, NOT_A_PICTURE, is_picture, suffix_of
from sheet_reader.numbers import INTAKE

NO_PICTURE = "there is no picture in it"


def arrivals(paths: Iterable[Path | NoPicture]) -> Iterator[Arrival | NoPicture]:
    """What the files at ``paths`` hold, in their order; a reason for each that gives nothing.

    What is no file, and has its reason already, is passed on.
    """
    for path in paths:
        yield from (path,) if isinstance(path, NoPicture) else _from_file(path)


def _from_file(path: Path) -> Iterator[Arrival | NoPicture]:
    """What one file holds: a picture, or the pictures in a mail, a mailbox or an archive.

    What kind of file it is shows in its first bytes, never in its name.
    """
    name, origin = file_name(path.name), Origin("folder", one_line(path.name))
    try:
        with path.open("rb") as stream:
            head = stream.read(INTAKE.arrival_head)
            if is_mbox(head):
                yield from from_mbox(path)
                return
            limit = DEFAULT.file_bytes if is_picture(head) else DEFAULT.mail_bytes
            data = head + stream.read(limit - len(head) + 1)
            size = path.stat().st_size
    except OSError as error:
        yield NoPicture(name, cannot_be_read(error))
        return
    if len(data) > limit:
        yield NoPicture(name, too_many_bytes(size, limit))
    elif is_zip(data):
        yield from _or_none(name, from_archive(name, data, origin))
    elif is_mail(head):
        yield from _or_none(name, from_mail(data, name))
    elif is_picture(data[:1100]):
        yield Arrival(name, data, suffix_of(data), origin)
    else:
        yield NoPicture(name, NOT_A_PICTURE if data else EMPTY)


def _or_none(name: str, items: Iterator[Arrival | NoPicture]) -> Iterator[Arrival | NoPicture]:
    yield next(items, NoPicture(name, NO_PICTURE))
    yield from items
