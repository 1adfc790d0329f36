"""A real PostgreSQL server in a temporary folder, reached through a socket in it."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, text

PLACES = [str(p) for p in sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)]


def _tool(name: str) -> str:
    found = shutil.which(name) or shutil.which(name, path=os.pathsep.join(PLACES))
    if found is None:
        pytest.skip("PostgreSQL's server (Debian: postgresql) is not installed")
    return found


def _user() -> str | None:
    """PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return None
    names = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"


@contextlib.contextmanager
def running(folder: Path, *, onto_disk: bool = False) -> Iterator[str]:
    """Start a server with its data in ``folder`` (a short path); gives its SQLAlchemy URL;
    skips where there is no PostgreSQL or no psycopg. ``onto_disk``: each commit waits for the disk.
    """
    pytest.importorskip("psycopg", reason="psycopg (the extra postgresql) is not installed")
    initdb, data, options = _tool("initdb"), folder / "data", _options(folder)
    if user := options.get("user"):
        shutil.chown(folder, user)
    subprocess.run([initdb, "-D", data, "-U", "counts", "-A", "trust", "-N"], **options)
    start(folder, onto_disk=onto_disk)
    try:
        yield f"postgresql+psycopg://counts@/postgres?host={folder}"
    finally:
        stop(folder, check=False)


def _options(folder: Path) -> dict[str, Any]:
    options: dict[str, Any] = {"check": True, "capture_output": True, "cwd": folder}
    if user := _user():
        options |= {"user": user, "env": {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"}}
    return options


def start(folder: Path, *, onto_disk: bool = False) -> None:
    """Start the server of ``folder``, and wait until it answers."""
    settings = f"-k {folder} -c listen_addresses='' -c fsync={'on' if onto_disk else 'off'}"
    control = [_tool("pg_ctl"), "-D", folder / "data", "-w", "-o", settings]
    subprocess.run([*control, "-l", folder / "log", "start"], **_options(folder))


def stop(folder: Path, mode: str = "immediate", *, check: bool = True) -> None:
    """Stop the server of ``folder``: "immediate" as a crash would, "fast" as its operator does."""
    control = [_tool("pg_ctl"), "-D", folder / "data", "-w", "-m", mode, "stop"]
    subprocess.run(control, **(_options(folder) | {"check": check}))


def new_database(url: str, name: str, *, copy_of: str = "template1") -> str:
    """A further database on the server at ``url``; gives its URL."""
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {copy_of}"))
    engine.dispose()
    return url.replace("/postgres?", f"/{name}?")
