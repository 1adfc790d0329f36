"""One thread for linear algebra.

The matrices of a sheet are small: threads cost more than they bring, ten times as much where
several pictures are read at once.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from threading import RLock

VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
_ONE_AT_A_TIME = RLock()


def one_thread_from_the_start() -> None:
    """For programs that have their process to themselves, before numpy is first imported.

    Holds for their worker processes too; what the user set stands.
    """
    for variable in VARIABLES:
        os.environ.setdefault(variable, "1")


def usual_jobs(bytes_each: int) -> int:
    """How many processes work at once unless told otherwise: as many as there are processor cores
    for this one, and as half the machine's memory holds at ``bytes_each``; 1 at least.
    """
    if hasattr(os, "sched_getaffinity"):
        cores = len(os.sched_getaffinity(0))
    else:
        cores = os.cpu_count() or 1
    try:
        memory = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):  # not told on this system
        return cores
    return max(1, min(cores, memory // 2 // bytes_each))


@contextmanager
def one_thread() -> Iterator[None]:
    """One thread while this lasts, then as many as before; also a decorator.

    Other threads of the process that come here wait: PDFium, which draws the sheets that are
    looked for, must not be called by two at once.
    """
    from threadpoolctl import threadpool_limits

    with _ONE_AT_A_TIME, threadpool_limits(limits=1, user_api="blas"):
        yield
