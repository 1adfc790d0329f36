"""A real Dask scheduler and workers in processes of their own, with TLS."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

HELPERS = Path(__file__).parent
PROGRAM = Path(__file__).parents[2]


@dataclass(frozen=True)
class Running:
    """Where the scheduler listens, what a client shows and checks, and the scheduler's process."""

    address: str
    tls: tuple[Path, Path, Path]
    scheduler: subprocess.Popen[bytes]


def certificates(folder: Path) -> tuple[Path, Path, Path]:
    """Files with an authority's certificate (its own), a certificate and a key."""
    pytest.importorskip("cryptography", reason="cryptography, which makes certificates, is missing")
    from distributed import Security

    made = Security.temporary()
    said = made.tls_ca_file, made.tls_client_cert, made.tls_client_key
    files = tuple(folder / name for name in ("ca.pem", "cert.pem", "key.pem"))
    for file, text in zip(files, said, strict=True):
        file.write_text(text)
    return files  # type: ignore[return-value]


@contextlib.contextmanager
def running(folder: Path, workers: int = 2) -> Iterator[Running]:
    """A scheduler that speaks TLS only and blames a photo from the second worker on that it killed,
    with so many workers; they write into ``folder``. Skips where Dask is not installed.
    """
    pytest.importorskip("distributed", reason="distributed (the extra cluster) is not installed")
    authority, certificate, key = certificates(folder)
    about = folder / "scheduler.json"
    path = os.pathsep.join([str(PROGRAM), str(HELPERS), os.environ.get("PYTHONPATH", "")])
    variables = os.environ | {
        "PYTHONPATH": path,
        "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
        "DASK_TEMPORARY_DIRECTORY": str(folder),
    }
    tls = ["--tls-ca-file", authority, "--tls-cert", certificate, "--tls-key", key]
    plain = ["--no-dashboard", "--scheduler-file", about, *tls]
    place = ["--protocol", "tls", "--host", "127.0.0.1", "--port", "0"]
    jobs = [
        ["scheduler", *plain, *place],
        ["worker", *plain, "--nworkers", str(workers), "--nthreads", "1", "--memory-limit", "0"],
    ]
    with (folder / "log").open("w") as log, contextlib.ExitStack() as ends:
        for job in jobs:
            process = subprocess.Popen(
                [sys.executable, "-m", "dask", *map(str, job)],
                env=variables, stdout=log, stderr=log, start_new_session=True,
            )  # fmt: skip
            ends.callback(_end, process)
            if job[0] == "scheduler":
                found = Running(_address(about, process), (authority, certificate, key), process)
        yield found


def _address(about: Path, process: subprocess.Popen[bytes]) -> str:
    while process.poll() is None:
        with contextlib.suppress(FileNotFoundError, ValueError, KeyError):
            return str(json.loads(about.read_text())["address"])
        time.sleep(0.05)
    raise AssertionError("the scheduler did not start")


def _end(process: subprocess.Popen[bytes]) -> None:
    """With the processes that it started: they are one session."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, 9)
    process.wait()
