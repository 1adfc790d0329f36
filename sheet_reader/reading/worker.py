"""Photos read one by one with a watch on them: in this process, in worker processes (one that hangs
or dies is replaced), or, as a parcel of bytes, on other machines.

Nothing in a parcel names a file of this machine or a person: the study travels without its folder
and without the contacts of its sites, a photo as its bytes under the name of their hash.
"""

from __future__ import annotations

import contextlib
import faulthandler
import multiprocessing
import os
import pickle
import signal
import threading
import time
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from multiprocessing.connection import Connection, wait
from pathlib import Path

from sheet_reader import __version__
from sheet_reader.intake.files import Readable, one_line
from sheet_reader.numbers import READING
from sheet_reader.reading.photo import default_reader, read_bytes, read_original
from sheet_reader.reading.reader import Reader
from sheet_reader.reading.rules import decoder_version, model_version
from sheet_reader.reading.site_history import SiteHistory
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.record.history.found import PhotoResult
from sheet_reader.record.originals import originals
from sheet_reader.record.store.claims import Task
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import kept_layouts, whole_book
from sheet_reader.study.study import Study
from sheet_reader.threads import one_thread_from_the_start

SECONDS_PER_PICTURE: float = READING.seconds_per_picture
_ONE_AT_A_TIME = threading.Lock()
"""The time limit belongs to the whole process, and a process reads one photo at a time anyway."""
Read = Callable[[Readable, Callable[[], None]], PhotoResult]
"""Reads a photo; calls the function after each picture of it."""


@dataclass(frozen=True, slots=True)
class Work:
    """What every worker needs to know. ``reader`` None means the package's."""

    study: Study
    today: date
    reader: Reader | None = None
    history: SiteHistory | None = None
    seconds_per_picture: float = SECONDS_PER_PICTURE

    def made_ready(self) -> Read:
        """What reads a photo, made ready once for all of them; it raises nothing."""
        book, reader = whole_book(self.study), self.reader or default_reader()

        def read(path: Readable, on_frame: Callable[[], None]) -> PhotoResult:
            try:
                return read_original(
                    path, self.study, book, self.today, reader,
                    history=self.history, on_frame=on_frame,
                )  # fmt: skip
            except Exception as error:  # the batch goes on, whatever one photo does to the reader
                return stumbled(error)

        return read


def stopped(reason: Reason, *, unforeseen: str = "") -> PhotoResult:
    """The result of a photo that could not be read to its end."""
    return PhotoResult((), (reason,), "stopped", unforeseen)


def broke_down() -> PhotoResult:
    """The result of a photo over which its reading process died."""
    return stopped(because(Code.BROKE_DOWN), unforeseen="the reading process broke down")


def stumbled(error: Exception) -> PhotoResult:
    """The result of a photo on which the reader failed in a way nobody foresaw."""
    what = one_line(f"{type(error).__name__}: {error}", 200)
    return stopped(because(Code.STUMBLED, error=what), unforeseen=what)


def read_here(work: Work, tasks: Iterator[Task]) -> Generator[tuple[Task, PhotoResult], None, None]:
    """Read the photos in this process, without a watch: for tests and small scripts."""
    read = work.made_ready()
    for task in tasks:
        yield task, read(originals.at(work.study.folder, task.original), lambda: None)


def read_apart(
    work: Work, tasks: Iterator[Task], jobs: int
) -> Generator[tuple[Task, PhotoResult], None, None]:
    """Read the photos in ``jobs`` worker processes, in any order.

    Nothing is taken from ``tasks`` before a worker is free for it.
    """
    workers: list[_Worker] = []
    try:
        while True:
            for worker in workers:
                if worker.task is None and (task := next(tasks, None)) is not None:
                    worker.start_on(task)
            while len(workers) < jobs and (task := next(tasks, None)) is not None:
                workers.append(_Worker(work))
                workers[-1].start_on(task)
            busy = [w for w in workers if w.task is not None]
            if not busy:
                return
            patience = max(0.0, min(w.deadline for w in busy) - time.monotonic())
            wait([w.pipe for w in busy], timeout=patience)
            for worker in busy:
                task, result = worker.task, worker.check()
                if task is not None and result is not None:
                    yield task, result
    finally:
        for worker in workers:
            worker.end()


class _Worker:
    """One worker process, started when first needed and again after it was ended."""

    def __init__(self, work: Work) -> None:
        self.work = work
        self.task: Task | None = None
        self.deadline = 0.0
        self._launch()

    def _launch(self) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(theirs, self.work), daemon=True)
        self.process.start()
        theirs.close()
        self.fresh = True

    def start_on(self, task: Task) -> None:
        self.task = task
        self._more_time()
        file = originals.to_carry(self.work.study.folder, task.original)
        with contextlib.suppress(OSError):  # a dead worker shows when it is checked
            self.pipe.send(file)

    def _more_time(self) -> None:
        extra = READING.start_seconds if self.fresh else 0.0
        self.deadline = time.monotonic() + self.work.seconds_per_picture + extra

    def check(self) -> PhotoResult | None:
        """The finished result, or None while the photo is still being read in time."""
        try:
            while self.pipe.poll():
                message = self.pipe.recv()
                self.fresh = False
                if isinstance(message, PhotoResult):
                    self.task = None
                    return message
                self._more_time()
        except (EOFError, OSError):
            return self._replaced(broke_down())
        if time.monotonic() < self.deadline:
            return None
        seconds = round(self.work.seconds_per_picture)
        return self._replaced(stopped(because(Code.TOO_SLOW, seconds=seconds)))

    def _replaced(self, result: PhotoResult) -> PhotoResult:
        self.end()
        self.task = None
        self._launch()
        return result

    def end(self) -> None:
        if self.process.pid is not None:
            self.process.kill()
            self.process.join()
        self.pipe.close()


def _serve(pipe: Connection, work: Work) -> None:
    """The worker's life: a path in, a message after each picture, the result out."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=end_with_parent, daemon=True).start()
    one_thread_from_the_start()
    failed = None
    try:
        read = work.made_ready()
    except Exception as error:  # then no photo can be read
        failed = stumbled(error)
    pipe.send("ready")
    limit = work.seconds_per_picture + READING.grace_seconds
    with contextlib.suppress(EOFError, OSError), Path(os.devnull).open("w") as nowhere:

        def next_picture() -> None:
            faulthandler.dump_traceback_later(limit, exit=True, file=nowhere)
            pipe.send("picture")

        while True:
            path = pipe.recv()
            next_picture()
            found = failed or read(path, next_picture)
            faulthandler.cancel_dump_traceback_later()
            pipe.send(found)


def end_with_parent() -> None:
    """Wait until the parent process is gone, then end this one."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


class OtherProgramError(Exception):
    """A worker runs another version of the program, or with other data: it would read otherwise."""


def versions() -> tuple[str, ...]:
    """All that decides what is read in a photo: program, network, rules."""
    return __version__, model_version(), decoder_version()


def packed(work: Work) -> bytes:
    """``work`` as a parcel that can travel, with the studies of the layouts kept and the sender's
    :func:`versions` on it.
    """
    former = tuple(_of_nobody(study) for study in kept_layouts(work.study).studies)
    parcel = replace(work, study=_of_nobody(work.study)), former
    return pickle.dumps((versions(), pickle.dumps(parcel)))


def _of_nobody(study: Study) -> Study:
    sites = tuple(replace(site, contact="") for site in study.sites)
    return replace(study, sites=sites, folder=Path())


@lru_cache(maxsize=1)
def _opened(parcel: bytes) -> tuple[Work, LayoutBook, Reader]:
    """The parcel with what is made from it once for all photos.

    Raises :class:`OtherProgramError`.
    """
    theirs, inner = pickle.loads(parcel)
    if theirs != (own := versions()):
        raise OtherProgramError(f"{' '.join(own)} there, {' '.join(theirs)} here")
    work, former = pickle.loads(inner)
    return work, LayoutBook(work.study, former), work.reader or default_reader()


def read_parcelled(parcel: bytes, data: bytes, name: str) -> PhotoResult:
    """What a worker on another machine does: read the photo ``data``. A picture that takes too long
    ends the process, since nothing else stops native code; the scheduler then gives the photo to
    another.

    Raises :class:`OtherProgramError`.
    """
    with _ONE_AT_A_TIME:
        work, book, reader = _opened(parcel)
        limit = work.seconds_per_picture + READING.grace_seconds

        def next_picture() -> None:
            faulthandler.dump_traceback_later(limit, exit=True)

        next_picture()
        try:
            return read_bytes(
                data, name, work.study, book, work.today, reader,
                history=work.history, on_frame=next_picture,
            )  # fmt: skip
        except Exception as error:  # the batch goes on, whatever one photo does to the reader
            return stumbled(error)
        finally:
            faulthandler.cancel_dump_traceback_later()
