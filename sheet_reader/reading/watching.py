"""A watched inbox: photos are read as they arrive, until somebody ends it."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

from sheet_reader.errors import SheetReaderError
from sheet_reader.intake.gather import SettledFiles, gather
from sheet_reader.numbers import READING

Take = Callable[[Sequence[Path], bool], object]
"""Reads these files, and the mailbox too if told so; reads the study file anew before."""


@dataclass(frozen=True, slots=True)
class WatchIntervals:
    """How often is looked, in seconds: at the folders ``every_s``, at the mailbox ``mail_every_s``
    (None: there is none). A file must have been left alone for ``quiet_s``.
    """

    every_s: float = READING.watch_every_s
    mail_every_s: float | None = None
    quiet_s: float = READING.watch_quiet_s


def watch(
    paths: Sequence[Path],
    rules: Sequence[Path],
    take: Take,
    tell: Callable[[str], object],
    pace: WatchIntervals,
    *,
    clock: Callable[[], float] = time.monotonic,
    wait: Callable[[float], object] = time.sleep,
) -> None:
    """Call ``take`` whenever files under ``paths`` have arrived whole, the mailbox is due, or one
    of ``rules`` (the study's files) has changed; go on until ``wait`` or ``take`` is interrupted
    (KeyboardInterrupt, which is passed on).

    What fails (a folder or server out of reach, a study file with a mistake in it) is told once and
    tried again at the next look: no file counts as taken before ``take`` has returned. What can't
    be read at all, as a link that leads nowhere, is told once; all else goes on meanwhile.
    """
    files, known = SettledFiles(pace.quiet_s), SettledFiles(pace.quiet_s)
    mail_due, told = clock(), ""
    out_of_reach: set[str] = set()
    while True:
        now = clock()
        there, missing = _look(paths)
        for line in missing:
            if line not in out_of_reach:
                tell(line)
        out_of_reach = set(missing)
        try:
            arrived, changed, mail = files.among(there, now), known.among(rules, now), False
            if pace.mail_every_s is not None and now >= mail_due:
                mail, mail_due = True, now + pace.mail_every_s
            if arrived or changed or mail:
                take(arrived, mail)
                files.taken(arrived)
                known.taken(changed)
                told = ""
        except SheetReaderError as error:
            if (line := str(error)) != told:
                tell(line)
            told = line
        wait(pace.every_s)


def _look(paths: Sequence[Path]) -> tuple[list[Path], list[str]]:
    """The files under ``paths``, and a line for each place that can't be looked at."""
    there: list[Path] = []
    missing: list[str] = []
    for path in paths:
        try:
            for found in gather([path]):
                if isinstance(found, Path):
                    there.append(found)
                else:
                    missing.append(f"{found.name}: {found.reason}")
        except SheetReaderError as error:
            missing.append(str(error))
    return there, missing


@contextmanager
def ends_cleanly() -> Iterator[None]:
    """A request to end (SIGTERM) is taken as Ctrl-C is; in another thread than the main one, which
    alone gets signals, nothing changes.
    """

    def stop(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
