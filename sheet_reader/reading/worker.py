"""Photos read in worker processes with a watch on them: one that hangs or dies is replaced."""

from __future__ import annotations

import contextlib
import faulthandler
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from datetime import date
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import TYPE_CHECKING

from sheet_reader.intake.files import one_line
from sheet_reader.numbers import READING
from sheet_reader.reading.photo import book_of, default_reader, read_original
from sheet_reader.reading.reader import Reader
from sheet_reader.reading.site_history import SiteHistory
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.record.history.found import PhotoResult
from sheet_reader.record.originals import originals
from sheet_reader.record.store.claims import Task
from sheet_reader.study.model import Study
from sheet_reader.threads import one_thread_from_the_start

if TYPE_CHECKING:
    from sheet_reader.sheet.book import LayoutBook

SECONDS_PER_PICTURE = READING.seconds_per_picture
START_SECONDS = READING.start_seconds
GRACE_SECONDS = READING.grace_seconds


@dataclass(frozen=True, slots=True)
class Work:
    """What every worker needs to know. ``reader`` None means the package's."""

    study: Study
    today: date
    reader: Reader | None = None
    history: SiteHistory | None = None
    seconds_per_picture: float = SECONDS_PER_PICTURE


def stopped(reason: Reason, *, unforeseen: str = "") -> PhotoResult:
    """The result of a photo that could not be read to its end."""
    return PhotoResult((), (reason,), "stopped", unforeseen)


def stumbled(error: Exception) -> PhotoResult:
    """The result of a photo on which the reader failed in a way nobody foresaw."""
    what = one_line(f"{type(error).__name__}: {error}", 200)
    return stopped(because(Code.STUMBLED, error=what), unforeseen=what)


def read_here(work: Work, tasks: Iterator[Task]) -> Generator[tuple[Task, PhotoResult], None, None]:
    """Read the photos in this process, without a watch: for tests and small scripts."""
    book, reader = book_of(work.study), work.reader or default_reader()
    for task in tasks:
        path = originals.at(work.study.folder, task.original)
        try:
            result = read_original(path, work.study, book, work.today, reader, history=work.history)
        except Exception as error:  # the batch goes on, whatever one photo does to the reader
            result = stumbled(error)
        yield task, result


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
        extra = START_SECONDS if self.fresh else 0.0
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
            broke = because(Code.BROKE_DOWN)
            return self._replaced(broke, unforeseen="the reading process broke down")
        if time.monotonic() < self.deadline:
            return None
        seconds = round(self.work.seconds_per_picture)
        return self._replaced(because(Code.TOO_SLOW, seconds=seconds))

    def _replaced(self, reason: Reason, *, unforeseen: str = "") -> PhotoResult:
        self.end()
        self.task = None
        self._launch()
        return stopped(reason, unforeseen=unforeseen)

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
    tools = _tools(work)
    pipe.send("ready")
    limit = work.seconds_per_picture + GRACE_SECONDS
    with contextlib.suppress(EOFError, OSError), Path(os.devnull).open("w") as nowhere:
        while True:
            path = pipe.recv()

            def next_picture() -> None:
                faulthandler.dump_traceback_later(limit, exit=True, file=nowhere)
                pipe.send("picture")

            next_picture()
            try:
                if isinstance(tools, Exception):
                    raise tools
                book, reader = tools
                result = read_original(
                    path,
                    work.study,
                    book,
                    work.today,
                    reader,
                    history=work.history,
                    on_frame=next_picture,
                )
            except Exception as error:  # the batch goes on, whatever one photo does to the reader
                result = stumbled(error)
            faulthandler.cancel_dump_traceback_later()
            pipe.send(result)


def _tools(work: Work) -> tuple[LayoutBook, Reader] | Exception:
    """What a worker reads with, or why it can't be had: then no photo can be read."""
    try:
        return book_of(work.study), work.reader or default_reader()
    except Exception as error:
        return error


def end_with_parent() -> None:
    """Wait until the parent process is gone, then end this one."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
