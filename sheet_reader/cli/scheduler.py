"""``sheet-reader read --scheduler``: the options for reading on a cluster."""

from __future__ import annotations

from collections.abc import Callable
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from sheet_reader.cli.common import say
from sheet_reader.errors import UsageError

if TYPE_CHECKING:
    from sheet_reader.reading.cluster import Cluster

Command = TypeVar("Command", bound=Callable[..., Any])


def scheduler_options(command: Command) -> Command:
    """Add ``--scheduler`` and ``--scheduler-tls``."""
    file = click.Path(path_type=Path)
    tls = click.option(
        "--scheduler-tls",
        type=(file, file, file),
        metavar="CA CERT KEY",
        help="Files (PEM) for TLS with the scheduler: the authority's certificate, yours, your "
        "key. Without them Dask's own configuration decides.",
    )
    address = click.option(
        "--scheduler",
        metavar="ADDRESS",
        help="Read on the Dask cluster whose scheduler listens there, e.g. tls://10.0.0.5:8786 "
        "(extra “cluster”).",
    )
    return address(tls(command))


def cluster_of(
    address: str | None, tls: tuple[Path, Path, Path] | None, jobs: int | None
) -> Cluster | None:
    """The cluster that the options mean, None for reading here.

    Raises :class:`UsageError` where they contradict each other.
    """
    if address is None:
        if tls:
            raise UsageError("--scheduler-tls needs --scheduler ADDRESS")
        return None
    if not address.strip():
        raise UsageError("--scheduler needs an address", remedy="e.g. tls://10.0.0.5:8786")
    if jobs is not None:
        raise UsageError(
            "--jobs reads on this machine, --scheduler on a cluster", remedy="leave one out"
        )
    if tls and "://" in address and not address.startswith("tls://"):
        raise UsageError("with --scheduler-tls the address begins with tls://", where=address)
    from sheet_reader.reading.cluster import Cluster

    if _in_the_clear(address, tls):
        say(
            "note: photos travel unencrypted to this scheduler, and whoever reaches it can run "
            "programs on its workers and here; --scheduler-tls closes that.",
            err=True,
        )
    return Cluster(address, tls)


def _in_the_clear(address: str, tls: object) -> bool:
    """Whether photos would leave this machine readable."""
    protocol, _, place = address.rpartition("://")
    if tls or protocol not in ("", "tcp"):
        return False
    host = place.rpartition(":")[0].strip("[]") or place
    try:
        return not ip_address(host).is_loopback
    except ValueError:
        return host != "localhost"
