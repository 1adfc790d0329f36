"""Who reads which photo: claims, so that several runs share the work and none does it twice.

A claim of a process that has died is void at once on the same machine, else after a while. Every
function takes a connection inside a transaction.
"""

from __future__ import annotations

import os
import socket
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, select, update

from sheet_reader import __version__
from sheet_reader.numbers import RECORD
from sheet_reader.record.history.sheets import standing
from sheet_reader.record.history.states import TYPED
from sheet_reader.record.store import schema
from sheet_reader.record.store.leftovers import is_running
from sheet_reader.study.days import now

CLAIM_SECONDS = RECORD.claim_seconds
MOST_ATTEMPTS = RECORD.most_attempts


@dataclass(frozen=True, slots=True)
class Task:
    """A photo to be read; ``attempts`` tells whether another process has read it meanwhile.

    ``only_new``: pages were read in it before, and only those are kept that were not.
    """

    photo_id: int
    name: str
    original: str
    attempts: int
    only_new: bool = False


def tasks(
    connection: Connection, model: str, circumstances: str, *, again: bool = False
) -> list[Task]:
    """Photos to be read, oldest first: those that wait, those that gave nothing, or not all, to
    another ``model`` or program or under other ``circumstances``, and with ``again`` all. Photos
    that are set aside are left alone.
    """
    c = schema.photos.c
    query = select(c.id, c.name, c.original, c.attempts, c.status).order_by(c.id)
    if not again:
        stopped = (c.status == "stopped") & (c.attempts < MOST_ATTEMPTS)
        lacking = c.status.in_(("no sheet", "failed", "stopped")) | (
            (c.status == "read") & c.reasons.is_not(None)
        )
        changed = (
            (c.model != model) | (c.program != __version__) | (c.circumstances != circumstances)
        )
        query = query.where((c.status == "waiting") | stopped | (lacking & changed))
    query = query.where(c.status != TYPED)
    aside = standing(connection).photos_aside
    return [
        Task(row.id, row.name, row.original, row.attempts, row.status == "read" and not again)
        for row in connection.execute(query)
        if row.id not in aside
    ]


def my_token() -> str:
    """A name for this process that other processes can check: host, process id and a nonce."""
    return f"{socket.gethostname()}/{os.getpid()}/{os.urandom(6).hex()}"


def claim(connection: Connection, task: Task, token: str) -> bool:
    """Take a photo for this process; False where another living one has it or has read it."""
    c = schema.photos.c
    row = connection.execute(
        select(c.attempts, c.claimed_by, c.claimed_at)
        .where(c.id == task.photo_id)
        .with_for_update()
    ).one()
    if row.attempts != task.attempts or _claim_lives(row.claimed_by, row.claimed_at, token):
        return False
    connection.execute(
        update(schema.photos)
        .where(c.id == task.photo_id)
        .values(claimed_by=token, claimed_at=now())
    )
    return True


def _claim_lives(holder: str | None, since: str | None, token: str) -> bool:
    if not holder or not since or holder == token:
        return False
    age = (datetime.fromisoformat(now()) - datetime.fromisoformat(since)).total_seconds()
    if age > CLAIM_SECONDS:
        return False
    host, pid, _ = holder.rsplit("/", 2)
    return host != socket.gethostname() or (int(pid) != os.getpid() and is_running(int(pid)))


def release(connection: Connection, token: str) -> None:
    """Give back whatever this process has claimed and not finished."""
    connection.execute(
        update(schema.photos)
        .where(schema.photos.c.claimed_by == token)
        .values(claimed_by=None, claimed_at=None)
    )
