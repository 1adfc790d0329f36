"""Who reads which photo, and who is shown which question now.

A claim lets several runs share the work, so that none does it twice; the functions for claims take
a connection inside a transaction. A lease keeps two people from being asked the same at the same
time: a courtesy, no lock, since an answer is kept by whoever gives it first (see ``since`` in
:mod:`.answering`). Those of a process that has died on this machine are void at once, all others
after a while.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from sqlalchemy import Connection, delete, insert, select, update

from sheet_reader import __version__
from sheet_reader.atomic import is_running
from sheet_reader.numbers import RECORD
from sheet_reader.record.history.sheets import standing
from sheet_reader.record.history.states import TYPED
from sheet_reader.record.store import schema
from sheet_reader.study.days import now

if TYPE_CHECKING:
    from sheet_reader.record.store.store import Record

CLAIM_LASTS = timedelta(seconds=RECORD.claim_seconds)
LEASE_LASTS = timedelta(seconds=RECORD.lease_seconds)
MOST_ATTEMPTS = RECORD.most_attempts
_status = schema.photos.c.status
UNREAD = (_status == "waiting") | (
    (_status == "stopped") & (schema.photos.c.attempts < MOST_ATTEMPTS)
)


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
        lacking = c.status.in_(("no sheet", "failed", "stopped")) | (
            (c.status == "read") & c.reasons.is_not(None)
        )
        changed = (
            (c.model != model) | (c.program != __version__) | (c.circumstances != circumstances)
        )
        query = query.where(UNREAD | (lacking & changed))
    aside = standing(connection).photos_aside
    return [
        Task(row.id, row.name, row.original, row.attempts, row.status == "read" and not again)
        for row in connection.execute(query.where(c.status != TYPED))
        if row.id not in aside
    ]


def unread(connection: Connection) -> int:
    """How many photos wait to be read, or to be tried once more."""
    waits = connection.scalars(select(schema.photos.c.id).where(UNREAD)).all()
    return len(set(waits) - set(standing(connection).photos_aside)) if waits else 0


def my_token() -> str:
    """A name for this process that other processes can check: host, process id and a nonce."""
    return f"{socket.gethostname()}/{os.getpid()}/{os.urandom(6).hex()}"


def _lives(token: str) -> bool:
    """Whether another process of this name may be at work."""
    host, pid, _ = token.rsplit("/", 2)
    return host != socket.gethostname() or is_running(int(pid))


def claim(connection: Connection, task: Task, token: str) -> bool:
    """Take a photo for this process; False where another living one has it or has read it."""
    c = schema.photos.c
    mine = c.id == task.photo_id
    query = select(c.attempts, c.claimed_by, c.claimed_at).where(mine).with_for_update()
    row, at = connection.execute(query).one(), now()
    if row.attempts != task.attempts:
        return False
    if row.claimed_by and row.claimed_at and row.claimed_by != token:
        age = datetime.fromisoformat(at) - datetime.fromisoformat(row.claimed_at)
        earlier = row.claimed_by.startswith(f"{socket.gethostname()}/{os.getpid()}/")  # a run here
        if age <= CLAIM_LASTS and not earlier and _lives(row.claimed_by):
            return False
    taken = update(schema.photos).where(mine).values(claimed_by=token, claimed_at=at)
    connection.execute(taken)
    return True


def release(connection: Connection, token: str) -> None:
    """Give back whatever this process has claimed and not finished."""
    mine = update(schema.photos).where(schema.photos.c.claimed_by == token)
    connection.execute(mine.values(claimed_by=None, claimed_at=None))


class Leases:
    """The leases of one person's sitting. ``clock`` gives UTC as :func:`now` writes it."""

    def __init__(self, record: Record, by: str, clock: Callable[[], str] = now) -> None:
        self._record, self._by, self._clock = record, by, clock
        self.holder = my_token()
        self._mine: dict[str, datetime] = {}

    def others(self) -> dict[str, str]:
        """The places that others hold now, with their names."""
        moment = datetime.fromisoformat(self._clock())
        with self._record.reading() as connection:
            return self._of_others(connection, moment)

    def _of_others(self, connection: Connection, moment: datetime) -> dict[str, str]:
        rows = connection.execute(
            select(schema.leases).where(schema.leases.c.holder != self.holder)
        )
        return {
            row.place: row.by for row in rows
            if datetime.fromisoformat(row.until) > moment and _lives(row.holder)
        }  # fmt: skip

    def hold(self, places: Sequence[str]) -> bool:
        """Hold these places, the first of them at least; whether that could be. Nothing is written
        where the first is held for a good while yet.
        """
        moment = datetime.fromisoformat(self._clock())
        if not places or self._mine.get(places[0], moment) - moment > LEASE_LASTS / 2:
            return True
        c, until = schema.leases.c, moment + LEASE_LASTS
        with self._record.writing() as connection:
            taken = self._of_others(connection, moment)
            mine = [place for place in places if place not in taken]
            old = c.place.in_(mine) | (c.until < moment.isoformat())
            connection.execute(delete(schema.leases).where(old | (c.holder == self.holder)))
            held = {"by": self._by, "holder": self.holder, "until": until.isoformat()}
            if mine:
                rows = [{"place": place, **held} for place in mine]
                connection.execute(insert(schema.leases), rows)
        self._mine = dict.fromkeys(mine, until)
        return places[0] in self._mine

    def release(self) -> None:
        """Give back whatever is held."""
        with self._record.writing() as connection:
            connection.execute(delete(schema.leases).where(schema.leases.c.holder == self.holder))
        self._mine = {}
