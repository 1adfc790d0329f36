"""Taking photos in: the original on the disk first, then a line in the record."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from sheet_reader.intake.arrivals import NO_PICTURE
from sheet_reader.intake.files import Arrival, NoPicture
from sheet_reader.intake.pictures import is_overlay
from sheet_reader.numbers import READING
from sheet_reader.reading.decoding import Anew
from sheet_reader.reading.told import lines_of
from sheet_reader.record.history import photos
from sheet_reader.record.history.found import BatchSummary, PhotoResult
from sheet_reader.record.history.photos import both_names
from sheet_reader.record.originals import originals
from sheet_reader.record.people.remarks import Remark, add_to_photo
from sheet_reader.record.store.engine import our_errors
from sheet_reader.record.store.place import knows_photos
from sheet_reader.record.store.store import Record
from sheet_reader.wording import words

_STATUSES = ("accepted", "flagged", "empty")
MOST_NAMES = READING.most_names


@dataclass(slots=True)
class Tally:
    """What a run has done so far."""

    known: int = 0
    refused: int = 0
    read: int = 0
    failed: int = 0
    pages: int = 0
    left: int = 0
    fields: dict[str, int] = field(default_factory=lambda: dict.fromkeys(_STATUSES, 0))
    lines: list[str] = field(default_factory=list)
    new: set[int] = field(default_factory=set)
    new_read: int = 0
    new_checks: int = 0
    drawn: list[str] = field(default_factory=list)
    looked_at: list[int] = field(default_factory=list)
    fault: str = ""
    decoded: Anew = field(default_factory=Anew)
    doubts: list[str] = field(default_factory=list)

    def count(self, photo_id: int, name: str, result: PhotoResult) -> None:
        """Add what one photo gave."""
        self.looked_at.append(photo_id)
        self.new_read += bool(result.pages) and photo_id in self.new
        self.pages += len(result.pages)
        self.read += bool(result.pages)
        check = bool(result.notes) and not result.pages and not result.failures
        self.failed += not result.pages and not check
        self.new_checks += check and photo_id in self.new
        told = (*result.failures, *result.notes)
        self.lines += [f"{both_names(photo_id, name)}: {words([reason])}" for reason in told]
        for page in result.pages:
            for found in page.fields:
                self.fields[found.reading.status] += 1

    def summary(self, seconds: float) -> BatchSummary:
        """The tally as it is told."""
        new_looked_at = sum(photo_id in self.new for photo_id in self.looked_at)
        return BatchSummary(
            arrived=len(self.new),
            known=self.known,
            refused=self.refused,
            left_out=len(self.drawn),
            new_read=self.new_read,
            new_failed=new_looked_at - self.new_read - self.new_checks,
            new_checks=self.new_checks,
            read=self.read,
            failed=self.failed + self.refused,
            pages=self.pages,
            accepted=self.fields["accepted"],
            flagged=self.fields["flagged"],
            empty=self.fields["empty"],
            left_to_another=self.left,
            seconds=seconds,
            decoded=len(self.decoded.pages),
            lines=(*self.lines, *self._drawn(), *lines_of(self.decoded), *self.doubts),
            photo_ids=tuple(self.looked_at),
            fault=self.fault,
        )

    def _drawn(self) -> list[str]:
        if not self.drawn:
            return []
        shown = ", ".join(self.drawn[:MOST_NAMES]) + (" …" if len(self.drawn) > MOST_NAMES else "")
        pictures = "picture was" if len(self.drawn) == 1 else "pictures were"
        return [f"{len(self.drawn)} {pictures} drawn by sheet_reader and left out: {shown}"]


def take_in(
    record: Record,
    arriving: Iterable[Arrival | NoPicture],
    tally: Tally,
    answers: Collection[str] = (),
) -> None:
    """Keep every original on the disk, then note it as waiting. ``answers`` are files in which an
    answer to a letter was found, which need no picture.
    """
    for item in arriving:
        if isinstance(item, NoPicture):
            if item.name in answers and item.reason == NO_PICTURE:
                continue
            tally.refused += 1
            tally.lines.append(f"{item.name}: {item.reason}")
        elif is_overlay(item.data):
            tally.drawn.append(item.name)
        elif (photo_id := _keep(record, item)) is not None:
            tally.new.add(photo_id)
        else:
            tally.known += 1


def _keep(record: Record, item: Arrival) -> int | None:
    """Keep one photo; gives its id if it is new, else None."""
    digest = hashlib.sha256(item.data).hexdigest()
    with record.reading() as connection:
        if photos.is_erased(connection, digest):
            return None
        is_first = not knows_photos(connection)
    original = originals.place_of(digest, item.suffix)
    if is_first:
        with record.writing() as connection:
            photos.announce(connection, digest)
    with our_errors(record.folder):
        written = originals.keep(record.folder, original, item.data)
    with record.writing() as connection:
        photo_id, new = photos.add_photo(
            connection, digest, item.name, original, len(item.data), item.origin
        )
        if item.said:
            mark = hashlib.sha256(f"{item.origin.sent_at}\n{item.said}".encode()).hexdigest()
            add_to_photo(connection, photo_id, Remark("mail", mark, item.origin.sender, item.said))
        if written and not new:
            photos.came_back(connection, digest, original)
    return photo_id if new else None
