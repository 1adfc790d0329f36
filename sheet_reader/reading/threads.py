"""One thread for each reading process.

The matrices of a sheet are small: threads cost more than they bring, ten times as much where
several pictures are read at once.
"""

from __future__ import annotations

import os
from contextlib import AbstractContextManager
from typing import Any

from threadpoolctl import threadpool_limits

VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def one_thread() -> AbstractContextManager[Any]:
    """Keeps the libraries that are loaded to one thread for a while."""
    limits: AbstractContextManager[Any] = threadpool_limits(1)
    return limits


def keep_to_one_thread() -> None:
    """Keep this process, and the programs it starts, to one thread for good; for workers only."""
    for variable in VARIABLES:
        os.environ.setdefault(variable, "1")
    threadpool_limits(1)
