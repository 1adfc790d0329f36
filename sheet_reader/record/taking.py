"""Taking photos in: the original on the disk first, then a line in the record."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field

from sheet_reader.intake.types import Arrival, Unreadable
from sheet_reader.record import opening, originals, writing
from sheet_reader.record.engine import our_errors
from sheet_reader.record.model import BatchSummary, PhotoResult
from sheet_reader.record.store import Record

_STATUSES = ("accepted", "flagged", "empty")


@dataclass(slots=True)
class Tally:
    """What a run has done so far."""

    arrived: int = 0
    known: int = 0
    read: int = 0
    failed: int = 0
    pages: int = 0
    left: int = 0
    fields: dict[str, int] = field(default_factory=lambda: dict.fromkeys(_STATUSES, 0))
    lines: list[str] = field(default_factory=list)

    def count(self, name: str, result: PhotoResult) -> None:
        """Add what one photo gave."""
        self.pages += len(result.pages)
        self.read += bool(result.pages)
        self.failed += not result.pages
        self.lines += [f"{name}: {reason}" for reason in result.failures]
        for page in result.pages:
            for found in page.fields:
                self.fields[found.status] += 1

    def summary(self, seconds: float) -> BatchSummary:
        """The tally as it is told."""
        return BatchSummary(
            arrived=self.arrived,
            known=self.known,
            read=self.read,
            failed=self.failed,
            pages=self.pages,
            accepted=self.fields["accepted"],
            flagged=self.fields["flagged"],
            empty=self.fields["empty"],
            left_to_another=self.left,
            seconds=seconds,
            lines=tuple(self.lines),
        )


def take_in(record: Record, arriving: Iterable[Arrival | Unreadable], tally: Tally) -> None:
    """Keep every original on the disk, then note it as waiting."""
    for item in arriving:
        if isinstance(item, Unreadable):
            tally.failed += 1
            tally.lines.append(f"{item.name}: {item.reason}")
        else:
            new = _keep(record, item)
            tally.arrived += new
            tally.known += not new


def _keep(record: Record, item: Arrival) -> bool:
    """Keep one photo; says whether it is new."""
    digest = hashlib.sha256(item.data).hexdigest()
    with record.reading() as connection:
        if writing.is_forgotten(connection, digest):
            return False
        is_first = not opening.knows_photos(connection)
    original = originals.place_of(digest, item.suffix)
    if is_first:
        with record.writing() as connection:
            writing.announce(connection, digest)
    with our_errors(record.folder):
        written = originals.keep(record.folder, original, item.data)
    with record.writing() as connection:
        _, new = writing.add_photo(
            connection, digest, item.name, original, len(item.data), item.origin
        )
        if written and not new:
            writing.came_back(connection, digest, original)
    return new
