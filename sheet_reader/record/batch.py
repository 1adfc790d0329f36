"""A batch of photos: kept first, then read one by one, each all or nothing."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from sheet_reader.errors import StorageError
from sheet_reader.intake.arrivals import arrivals
from sheet_reader.intake.gather import INBOX, gather
from sheet_reader.intake.types import Arrival, Unreadable
from sheet_reader.record import originals, writing
from sheet_reader.record.engine import our_errors
from sheet_reader.record.look import Reader
from sheet_reader.record.model import BatchSummary, PhotoResult
from sheet_reader.record.store import Record
from sheet_reader.record.versions import model_version
from sheet_reader.record.worker import SECONDS_PER_PICTURE, Work, read_apart, read_here
from sheet_reader.record.writing import Task
from sheet_reader.study.model import Study

Progress = Callable[[int, int, str], None]
"""Called with photos done, photos in all, and the name of the one just done."""


_STATUSES = ("accepted", "flagged", "empty")


@dataclass(slots=True)
class _Tally:
    arrived: int = 0
    known: int = 0
    read: int = 0
    failed: int = 0
    pages: int = 0
    left: int = 0
    fields: dict[str, int] = field(default_factory=lambda: dict.fromkeys(_STATUSES, 0))
    lines: list[str] = field(default_factory=list)


def read_batch(
    study: Study,
    paths: Iterable[Path] | None = None,
    *,
    on_progress: Progress = lambda _done, _total, _name: None,
    reader: Reader | None = None,
    today: date | None = None,
    again: bool = False,
    jobs: int = 1,
    seconds_per_picture: float = SECONDS_PER_PICTURE,
    url: str | None = None,
) -> BatchSummary:
    """Take in the photos at ``paths`` (None: the study's inbox) and read all that wait.

    Photos that an earlier run took in and did not finish are read too; ``again`` reads known ones
    once more. ``jobs`` 0 reads in this process, else in that many others under a time limit per
    picture. Raises :class:`StorageError`, :class:`RecordError` or :class:`UsageError`; a photo
    that fails is a line in the summary.
    """
    began = time.monotonic()
    if paths is None:
        paths = [study.folder / INBOX] if (study.folder / INBOX).is_dir() else []
    tally = _Tally()
    with Record.open(study, url) as record:
        take_in(record, arrivals(gather(paths)), tally)
        work = Work(study, today or date.today(), reader, seconds_per_picture)
        _read_waiting(record, work, tally, on_progress, again=again, jobs=jobs)
    return BatchSummary(
        arrived=tally.arrived,
        known=tally.known,
        read=tally.read,
        failed=tally.failed,
        pages=tally.pages,
        accepted=tally.fields["accepted"],
        flagged=tally.fields["flagged"],
        empty=tally.fields["empty"],
        left_to_another=tally.left,
        seconds=time.monotonic() - began,
        lines=tuple(tally.lines),
    )


def take_in(record: Record, arriving: Iterable[Arrival | Unreadable], tally: _Tally) -> None:
    """Keep every original on the disk, then note it as waiting."""
    for item in arriving:
        if isinstance(item, Unreadable):
            tally.failed += 1
            tally.lines.append(f"{item.name}: {item.reason}")
            continue
        digest = hashlib.sha256(item.data).hexdigest()
        with record.reading() as connection:
            if writing.is_forgotten(connection, digest):
                tally.known += 1
                continue
        original = originals.place_of(digest, item.suffix)
        with our_errors(record.folder):
            originals.keep(record.folder, original, item.data)
        with record.writing() as connection:
            _, new = writing.add_photo(
                connection, digest, item.name, original, len(item.data), item.origin
            )
        tally.arrived += new
        tally.known += not new


def _read_waiting(
    record: Record, work: Work, tally: _Tally, on_progress: Progress, *, again: bool, jobs: int
) -> None:
    model, token = model_version(), writing.my_token()
    with record.reading() as connection:
        todo = writing.tasks(connection, again=again)
    claimed = _claimed(record, todo, token, tally)
    results = read_apart(work, claimed, min(jobs, len(todo))) if jobs else read_here(work, claimed)
    try:
        for done, (task, result) in enumerate(results, start=1):
            with record.writing() as connection:
                kept = writing.finish(connection, task, token, result, model)
            if kept:
                _count(tally, task, result)
            on_progress(done, len(todo), task.name)
    finally:
        _release(record, token)
    if tally.left:
        tally.lines.append(f"{tally.left} photos are being read by another run of the program")


def _claimed(record: Record, todo: list[Task], token: str, tally: _Tally) -> Iterator[Task]:
    for task in todo:
        with record.writing() as connection:
            mine = writing.claim(connection, task, token)
        if mine:
            yield task
        else:
            tally.left += 1


def _release(record: Record, token: str) -> None:
    """Give back claims; where even that fails, they run out by themselves."""
    try:
        with record.writing() as connection:
            writing.release(connection, token)
    except StorageError:
        return


def _count(tally: _Tally, task: Task, result: PhotoResult) -> None:
    tally.pages += len(result.pages)
    tally.read += bool(result.pages)
    tally.failed += not result.pages
    tally.lines += [f"{task.name}: {reason}" for reason in result.failures]
    for page in result.pages:
        for found in page.fields:
            tally.fields[found.status] += 1
