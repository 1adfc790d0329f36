"""Who is shown which question now, so that no two people are asked the same at the same time.

A lease runs out by itself, and at once where its process has died on this machine. It is a
courtesy, no lock: an answer is kept by whoever gives it first (see ``since`` of ``deciding.keep``).
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from sqlalchemy import delete, insert, select

from sheet_reader.atomic import is_running
from sheet_reader.numbers import RECORD
from sheet_reader.record.store import claims, schema
from sheet_reader.record.store.store import Record
from sheet_reader.study.days import now

LASTS = timedelta(seconds=RECORD.lease_seconds)


class Leases:
    """The leases of one person's sitting. ``clock`` gives UTC as :func:`now` writes it."""

    def __init__(self, record: Record, by: str, clock: Callable[[], str] = now) -> None:
        self._record, self._by, self._clock = record, by, clock
        self.holder = claims.my_token()
        self._mine: dict[str, datetime] = {}

    def others(self) -> dict[str, str]:
        """The places that others hold now, with their names."""
        c, moment = schema.leases.c, self._now()
        with self._record.reading() as connection:
            rows = connection.execute(
                select(c.place, c.by, c.holder, c.until).where(c.holder != self.holder)
            ).all()
        return {row.place: row.by for row in rows if _lives(row.holder, row.until, moment)}

    def hold(self, places: Sequence[str]) -> bool:
        """Hold these places, the first of them at least; whether that could be. Nothing is written
        where the first is held for a good while yet.
        """
        moment = self._now()
        if not places or self._mine.get(places[0], moment) - moment > LASTS / 2:
            return True
        c, until = schema.leases.c, moment + LASTS
        with self._record.writing() as connection:
            held = connection.execute(
                select(c.place, c.holder, c.until).where(c.place.in_(places))
            ).all()
            taken = {
                row.place for row in held
                if row.holder != self.holder and _lives(row.holder, row.until, moment)
            }  # fmt: skip
            mine = [place for place in places if place not in taken]
            old = c.place.in_(mine) | (c.until < moment.isoformat())
            connection.execute(delete(schema.leases).where(old | (c.holder == self.holder)))
            for place in mine:
                connection.execute(
                    insert(schema.leases).values(
                        place=place, by=self._by, holder=self.holder, until=until.isoformat()
                    )
                )
        self._mine = dict.fromkeys(mine, until)
        return places[0] in self._mine

    def release(self) -> None:
        """Give back whatever is held."""
        with self._record.writing() as connection:
            connection.execute(delete(schema.leases).where(schema.leases.c.holder == self.holder))
        self._mine = {}

    def _now(self) -> datetime:
        return datetime.fromisoformat(self._clock())


def _lives(holder: str, until: str, moment: datetime) -> bool:
    if datetime.fromisoformat(until) <= moment:
        return False
    host, pid, _ = holder.rsplit("/", 2)
    return host != socket.gethostname() or is_running(int(pid))
