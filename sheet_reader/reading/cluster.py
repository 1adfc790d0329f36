"""Photos read on a Dask cluster: the same function as in worker processes, on other machines.

Only bytes travel, and this process alone writes the record. A photo's bytes stand in its task, so
that the scheduler can give it to another worker when one dies. Where several died in a row it
blames every photo that they had: each of these is read once more with nothing beside it, and one
over which workers die even then is stopped. Who may reach a scheduler can run programs on its
workers and on this machine: that is what TLS is for.
"""

from __future__ import annotations

import logging
import os
import time
import warnings
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Any

from sheet_reader.errors import (
    SheetReaderError,
    StorageError,
    UnavailableError,
    UsageError,
    install_extra,
)
from sheet_reader.intake.files import one_line
from sheet_reader.numbers import READING
from sheet_reader.reading.worker import (
    OtherProgramError,
    Work,
    broke_down,
    packed,
    read_parcelled,
    stumbled,
)
from sheet_reader.record.history.found import PhotoResult
from sheet_reader.record.originals import originals
from sheet_reader.record.store.claims import Task

if TYPE_CHECKING:
    from distributed import Client, Future, Security

CONNECT_SECONDS = READING.cluster_connect_s
WORKERS_SECONDS = READING.cluster_workers_s
LOOK_SECONDS = READING.cluster_look_s
SAME_PROGRAM = "install the same version of sheet-reader on this machine and on every worker"
AGAIN = "what was read is saved; run the command again to go on"
TALKATIVE = ("distributed", "distributed.client", "tornado.application")
"""Loggers of Dask whose lines would stand between ours; what matters is told as an error."""


@dataclass(frozen=True, slots=True)
class Cluster:
    """The scheduler's ``address`` and, for TLS, the files of the authority's certificate, of this
    machine's certificate and of its key; without them Dask's own configuration decides.
    """

    address: str
    tls: tuple[Path, Path, Path] | None = None


def read_on_cluster(
    work: Work, tasks: Iterator[Task], cluster: Cluster
) -> Generator[tuple[Task, PhotoResult], None, None]:
    """Read the photos on ``cluster``, in any order; a few are under way to each worker, and nothing
    more is taken from ``tasks``.

    Raises :class:`UsageError` where Dask is not installed or the workers run another program, and
    :class:`StorageError` where the scheduler can't be reached, or has no workers.
    """
    with connected(cluster) as client:
        crew = _Crew(client, work)
        try:
            while True:
                while crew.has_room() and (task := next(tasks, None)) is not None:
                    crew.send(task)
                if not crew.busy and not crew.send_a_suspect():
                    return
                if (done := crew.next()) is not None:
                    yield done
        finally:
            crew.dismiss()


@contextmanager
def connected(cluster: Cluster) -> Iterator[Client]:
    """A client of the scheduler that has at least one worker.

    Raises as :func:`read_on_cluster` does.
    """
    try:
        from distributed import Client
    except ImportError:
        raise UsageError(
            "reading on a cluster needs Dask, which is not installed",
            remedy=install_extra("cluster"),
        ) from None
    security, address = _security(cluster), cluster.address
    if "://" not in address:
        address = f"{'tls' if cluster.tls else 'tcp'}://{address}"
    with _quiet():
        try:
            client = Client(
                address, security=security, timeout=CONNECT_SECONDS, set_as_default=False,
                name="sheet-reader",
            )  # fmt: skip
        except Exception as error:  # Dask passes on what any of its transports raises
            raise UnavailableError(
                f"the scheduler can't be reached ({_said(error)})",
                where=cluster.address,
                remedy="check the address, that it runs, and whether it wants TLS; photos wait",
            ) from error
        try:
            yield client
        finally:
            client.close(timeout=CONNECT_SECONDS)


def _security(cluster: Cluster) -> Security | None:
    """What Dask needs for TLS, with no way back to a connection in the clear."""
    from distributed import Security

    if cluster.tls is None:
        return None
    for file in cluster.tls:
        if not (file.is_file() and os.access(file, os.R_OK)):
            raise UsageError("there is no such file that you may read", where=file)
    authority, certificate, key = map(str, cluster.tls)
    return Security(
        tls_ca_file=authority, tls_client_cert=certificate, tls_client_key=key,
        require_encryption=True,
    )  # fmt: skip


@contextmanager
def _quiet() -> Iterator[None]:
    """Without Dask's own lines and warnings meanwhile."""
    before = {logger: logger.level for logger in map(logging.getLogger, TALKATIVE)}
    for logger in before:
        logger.setLevel(logging.CRITICAL)
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", module="distributed")
            yield
    finally:
        for logger, level in before.items():
            logger.setLevel(level)


class _Crew:
    """The workers of a cluster and what is under way to them."""

    def __init__(self, client: Client, work: Work) -> None:
        self.client, self.folder = client, work.study.folder
        self.under_way: dict[str, tuple[Task, Future, bool]] = {}
        self._unsent: list[tuple[Task, PhotoResult]] = []
        self._suspects: list[Task] = []
        self._ready: SimpleQueue[Future] = SimpleQueue()
        self._mark = os.urandom(8).hex()
        self._looked = self._seen = time.monotonic()
        self._workers = self._count()
        self.parcel = self._submit(bytes, packed(work), key=f"sheet-reader-{self._mark}")

    def _submit(self, function: Callable[..., Any], *given: Any, key: str) -> Future:
        """The bytes of a photo or of a parcel are much for a task, and meant to stand in it."""
        import dask

        unlimited = {"distributed.admin.large-graph-warning-threshold": "1 TB"}
        try:
            with dask.config.set(unlimited):
                return self.client.submit(function, *given, key=key, pure=False)
        except Exception as error:  # Dask passes on what any of its transports raises
            raise _lost(error) from error

    @property
    def busy(self) -> bool:
        """Whether anything is still to come."""
        return bool(self.under_way or self._unsent)

    def has_room(self) -> bool:
        """Whether another photo may be sent: at least one, so that a cluster may grow on demand."""
        self._look()
        ahead: int = READING.sent_ahead
        return len(self.under_way) + len(self._unsent) < ahead * max(1, self._workers)

    def send(self, task: Task, *, alone: bool = False) -> None:
        """Give a photo to the scheduler; ``alone``: nothing else is under way meanwhile."""
        try:
            data = originals.at(self.folder, task.original).read_bytes()
        except OSError as error:
            self._unsent.append((task, stumbled(error)))
            return
        key = f"sheet-reader-{self._mark}-{task.photo_id}{'-alone' if alone else ''}"
        name = Path(task.original).name
        future = self._submit(read_parcelled, self.parcel, data, name, key=key)
        self.under_way[key] = task, future, alone
        future.add_done_callback(self._ready.put)

    def send_a_suspect(self) -> bool:
        """Send one of the photos over which workers may have died; says whether there was any."""
        if self._suspects:
            self.send(self._suspects.pop(), alone=True)
        return self.busy

    def next(self) -> tuple[Task, PhotoResult] | None:
        """The next photo that is done; None where it is to be read once more."""
        if self._unsent:
            return self._unsent.pop()
        while True:
            try:
                future = self._ready.get(timeout=LOOK_SECONDS)
            except Empty:
                self._look()
                continue
            task, _, alone = self.under_way.pop(str(future.key))
            try:
                result = _result(future)
            finally:
                future.release()
            if result is not None:
                return task, result
            if alone:
                return task, broke_down()
            self._suspects.append(task)
            return None

    def _look(self) -> None:
        """Look, now and then, how many work. Raises :class:`StorageError` where the scheduler is
        gone, or nobody has worked for long.
        """
        now = time.monotonic()
        if now - self._looked >= LOOK_SECONDS:
            self._looked, self._workers = now, self._count()
        if self._workers:
            self._seen = now
        elif now - self._seen > WORKERS_SECONDS:
            raise UnavailableError(
                "no worker has joined the cluster",
                where=self._address(),
                remedy=f"start some with: dask worker {self._address()} --nthreads 1; {AGAIN}",
            )

    def _count(self) -> int:
        try:
            return len(self.client.nthreads())
        except Exception as error:  # Dask passes on what any of its transports raises
            raise _lost(error) from error

    def _address(self) -> str:
        scheduler = self.client.scheduler
        return str(scheduler.address) if scheduler is not None else ""

    def dismiss(self) -> None:
        """Take back what is not done."""
        futures = [future for _, future, _ in self.under_way.values()]
        self.under_way.clear()
        if self.client.status == "running":
            self.client.cancel([*futures, self.parcel], force=True)


def _result(future: Future) -> PhotoResult | None:
    """What a worker made of a photo; None where workers died while they had it. Raises where the
    cluster, and not the photo, is at fault.
    """
    from distributed import CancelledError, KilledWorker

    try:
        result: PhotoResult = future.result()
    except KilledWorker:
        return None
    except OtherProgramError as error:
        raise UsageError(f"a worker runs another program: {error}", remedy=SAME_PROGRAM) from error
    except ImportError as error:
        raise UsageError(
            f"a worker can't run the program ({_said(error)})", remedy=SAME_PROGRAM
        ) from error
    except CancelledError as error:
        raise _lost(error) from error
    except Exception as error:
        raise StorageError(f"the cluster failed ({_said(error)})", remedy=AGAIN) from error
    return result


def _lost(error: BaseException) -> SheetReaderError:
    return UnavailableError(f"the scheduler is out of reach now ({_said(error)})", remedy=AGAIN)


def _said(error: BaseException) -> str:
    """The first line of an error, without what Dask adds of its inner life."""
    return one_line(str(error).partition("\n")[0] or type(error).__name__, 160)
