"""A batch of photos: kept first, then read one by one, each all or nothing. When every photo fails
in one unforeseen way, the fault lies in the installation.
"""

from __future__ import annotations

import math
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from datetime import date
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from sheet_reader import __version__
from sheet_reader.errors import SheetReaderError
from sheet_reader.intake.arrivals import arrivals
from sheet_reader.intake.gather import INBOX, gather
from sheet_reader.intake.imap import Mailbox
from sheet_reader.numbers import READING
from sheet_reader.reading.cluster import Cluster, read_on_cluster
from sheet_reader.reading.decoding import decode_anew
from sheet_reader.reading.incoming import fetch, keep_answers, kept_with, take_in
from sheet_reader.reading.opening import open_record, reader_of
from sheet_reader.reading.reader import Reader
from sheet_reader.reading.rules import model_version
from sheet_reader.reading.site_history import history_of
from sheet_reader.reading.tally import BatchSummary, BatchTally
from sheet_reader.reading.worker import SECONDS_PER_PICTURE, Work, read_apart, read_here
from sheet_reader.reading.written_areas import bare_picture
from sheet_reader.record.history import found
from sheet_reader.record.history.found import PhotoResult
from sheet_reader.record.history.photos import circumstances
from sheet_reader.record.history.study_edits import doubts_of, raised
from sheet_reader.record.originals import originals
from sheet_reader.record.people.erase import remove_erased
from sheet_reader.record.people.remarks import asked_before
from sheet_reader.record.store import claims
from sheet_reader.record.store.claims import Task
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.kept_layouts import keep_layout, kept_layouts
from sheet_reader.study import days
from sheet_reader.study.study import Study
from sheet_reader.threads import usual_jobs

PACKAGES = ("numpy", "opencv-python", "pillow", "pypdfium2", "scipy", "zxing-cpp")
"""The packages that reading a photo rests on."""
Progress = Callable[[int, int, str], None]
"""Called with photos done, photos in all, and the name of the one just done."""


def read_batch(
    study: Study,
    paths: Iterable[Path] | None = None,
    *,
    mailbox: Mailbox | None = None,
    on_progress: Progress = lambda _done, _total, _name: None,
    reader: Reader | None = None,
    today: date | None = None,
    again: bool = False,
    jobs: int | None = 1,
    cluster: Cluster | None = None,
    seconds_per_picture: float = SECONDS_PER_PICTURE,
    url: str | None = None,
) -> BatchSummary:
    """Take in the photos at ``paths`` and read all that wait.

    ``paths`` None means the study's inbox, or nothing where a ``mailbox`` is given: its new mail is
    taken in too. Photos that an earlier run took in and did not finish are read, and those that
    were refused for a reason that may be gone; ``again`` reads all known ones once more.
    ``reader`` None means the package's, with the threshold that the study's own audits bear out.
    ``jobs`` 0 reads in this process, else in that many others under a time limit per picture, None
    in as many as the machine has cores and the batch work for; with a ``cluster`` photos are read
    there. What is read does not depend on any of it.
    Raises :class:`StorageError`, :class:`RecordError` or :class:`UsageError`; a photo that fails is
    a line in the summary.
    """
    began = time.monotonic()
    if paths is None:
        inbox = study.folder / INBOX
        paths = [inbox] if inbox.is_dir() and mailbox is None else []
    tally = BatchTally(lines=list(kept_layouts(study).problems))
    originals.must_be_of(study.folder, study.key)
    with open_record(study, url) as record:
        originals.sweep_originals(study.folder)
        remove_erased(record, bare_picture)
        before = doubts_of(record.state())
        paths, answers = list(paths), frozenset[str]()
        if paths and asked_before(record):
            kept, _, answers = keep_answers(record, paths)
            tally.lines += [kept_with(places) for places in kept]
        take_in(record, arrivals(gather(paths)), tally, answers)
        if mailbox is not None:
            fetch(record, mailbox, tally)
        keep_layout(study)
        most = usual_jobs(READING.worker_bytes) if jobs is None else jobs
        today = today or days.today(study)
        anew = decode_anew(record, most, on_progress, today=today)
        history = anew.history or history_of(record)
        reader = reader or reader_of(record)
        work = Work(study, today, reader, history, seconds_per_picture)
        _read_waiting(record, work, tally, on_progress, again=again, jobs=jobs, cluster=cluster)
        if tally.looked_at:  # they are the history of later visits
            decode_anew(record, most, on_progress, anew, today)
        tally.decoded = anew
        tally.doubts = raised(before, record.state())
    return tally.summary(time.monotonic() - began)


def _read_waiting(
    record: Record,
    work: Work,
    tally: BatchTally,
    on_progress: Progress,
    *,
    again: bool,
    jobs: int | None,
    cluster: Cluster | None,
) -> None:
    model, token = model_version(), claims.my_token()
    around = circumstances(record.study)
    with record.reading() as connection:
        todo = claims.tasks(connection, model, around, again=again)
    claimed = _claimed(record, todo, token, tally)
    if cluster is not None and todo:
        results = read_on_cluster(work, claimed, cluster)
    elif jobs == 0:
        results = read_here(work, claimed)
    else:
        results = read_apart(work, claimed, workers_for(jobs, len(todo)))
    common = CommonFault()
    try:
        for done, (task, result) in enumerate(common.watched(results), start=1):
            with record.writing() as connection:
                kept = found.finish(connection, task, token, result, model, around)
            if kept:
                tally.count(task.photo_id, task.name, result)
            on_progress(done, len(todo), task.name)
    finally:
        results.close()
        with suppress(SheetReaderError), record.writing() as connection:
            claims.release(connection, token)  # where even that fails, they run out by themselves
    tally.fault = common.message
    if left := tally.counts["left_to_another"]:
        are = "photo is" if left == 1 else "photos are"
        tally.lines.append(f"{left} {are} being read by another run of the program")


def workers_for(jobs: int | None, photos: int) -> int:
    """How many processes read so many ``photos``: a further one must be worth its start."""
    if jobs is not None:
        return min(jobs, photos)
    worth = math.ceil(photos / READING.photos_per_worker)
    return int(min(usual_jobs(READING.worker_bytes), worth))


def _claimed(record: Record, todo: list[Task], token: str, tally: BatchTally) -> Iterator[Task]:
    for task in todo:
        with record.writing() as connection:
            mine = claims.claim(connection, task, token)
        if mine:
            yield task
        else:
            tally.counts["left_to_another"] += 1


class CommonFault:
    """Holds results back as long as all photos have failed in one unforeseen way.

    They are given on as soon as one goes otherwise; if none does, the photos are left waiting and
    ``message`` says what is wrong.
    """

    def __init__(self) -> None:
        self.message = ""
        self._how = ""
        self._held: deque[tuple[Task, PhotoResult]] = deque()
        self._clear = False

    def watched(
        self, results: Iterable[tuple[Task, PhotoResult]]
    ) -> Iterator[tuple[Task, PhotoResult]]:
        """The results that are to be kept."""
        for task, result in results:
            self._clear |= not result.unforeseen or self._how not in ("", result.unforeseen)
            self._how = result.unforeseen
            self._held.append((task, result))
            if self._clear:
                yield from self._given_on()
        if len(self._held) < READING.fewest_alike:
            yield from self._given_on()
            return
        self.message = (
            f"all {len(self._held)} photos failed in the same unforeseen way ({self._how}), so the "
            "fault lies in the installation, not in the photos; they wait to be read. Installed "
            f"are {installed()}"
        )

    def _given_on(self) -> Iterator[tuple[Task, PhotoResult]]:
        while self._held:
            yield self._held.popleft()


def installed() -> str:
    """The program and the packages that reading rests on, with their versions."""
    told = [f"sheet-reader {__version__}"]
    for package in PACKAGES:
        try:
            told.append(f"{package} {version(package)}")
        except PackageNotFoundError:
            told.append(f"no {package}")
    return ", ".join(told)
