"""What goes into the record: photos, claims on them, and the results of reading them.

Every function takes a connection inside a writing transaction; all or nothing is the caller's.
"""

from __future__ import annotations

import json
import os
import socket
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Table, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from sheet_reader import __version__
from sheet_reader.intake.types import Origin
from sheet_reader.record import schema
from sheet_reader.record.leftovers import is_running
from sheet_reader.record.model import FoundPage, PhotoLine, PhotoResult, now

CLAIM_SECONDS = 900
MOST_ATTEMPTS = 3


@dataclass(frozen=True, slots=True)
class Task:
    """A photo to be read; ``attempts`` tells whether another process has read it meanwhile."""

    photo_id: int
    name: str
    original: str
    attempts: int


def insert_new(connection: Connection, table: Table, **values: Any) -> bool:
    """Insert a row unless its unique key is there already; says whether it was inserted."""
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    statement = dialect.insert(table).values(**values).on_conflict_do_nothing()
    inserted = connection.execute(statement.returning(*table.primary_key.columns))
    return inserted.first() is not None


def is_forgotten(connection: Connection, digest: str) -> bool:
    """Whether this photo's sender was forgotten: then nothing of it is kept again."""
    c = schema.photos.c
    query = select(c.id).where(c.sha256 == digest, c.forgotten_at.is_not(None))
    return connection.execute(query).first() is not None


def add_photo(
    connection: Connection, digest: str, name: str, original: str, size: int, origin: Origin
) -> tuple[int, bool]:
    """Note a photo by its hash, and where it came from; gives its id and whether it is new."""
    new = insert_new(
        connection,
        schema.photos,
        sha256=digest,
        name=name,
        original=original,
        bytes=size,
        received_at=now(),
        status="waiting",
        reason="",
        attempts=0,
        program="",
        model="",
    )
    found = connection.execute(select(schema.photos.c.id).filter_by(sha256=digest))
    photo_id = int(found.scalar_one())
    if new:
        _make_unique(connection, photo_id, name)
    insert_new(connection, schema.origins, photo_id=photo_id, seen_at=now(), **asdict(origin))
    return photo_id, new


def _make_unique(connection: Connection, photo_id: int, name: str) -> None:
    """Phones call many photos ``image0.jpg``; a second one gets its number into the name."""
    c = schema.photos.c
    others = select(c.id).where(c.name == name, c.id != photo_id).limit(1)
    if connection.execute(others).first() is None:
        return
    stem, dot, ending = name.rpartition(".")
    own = f"{stem} ({photo_id}).{ending}" if dot else f"{name} ({photo_id})"
    connection.execute(update(schema.photos).where(c.id == photo_id).values(name=own))


def tasks(connection: Connection, *, again: bool = False) -> list[Task]:
    """Photos to be read, oldest first: those that wait, and with ``again`` all others too."""
    c = schema.photos.c
    query = select(c.id, c.name, c.original, c.attempts).order_by(c.id)
    if not again:
        stopped = (c.status == "stopped") & (c.attempts < MOST_ATTEMPTS)
        query = query.where((c.status == "waiting") | stopped)
    return [Task(*row) for row in connection.execute(query)]


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


def finish(connection: Connection, task: Task, token: str, result: PhotoResult, model: str) -> bool:
    """Write all that a photo gave and mark it done; False (and nothing written) where another
    process took it over meanwhile. A photo that was read once stays read, even where a newer
    model finds nothing in it.
    """
    c = schema.photos.c
    before = connection.scalar(select(c.status).where(c.id == task.photo_id))
    done = connection.execute(
        update(schema.photos)
        .where(c.id == task.photo_id, c.attempts == task.attempts, c.claimed_by == token)
        .values(
            status=before if before == "read" else result.status,
            reason="; ".join(result.failures),
            attempts=task.attempts + 1,
            read_at=now(),
            program=__version__,
            model=model,
            claimed_by=None,
            claimed_at=None,
        )
    )
    if done.rowcount != 1:
        return False
    for page in result.pages:
        sighting = _sighting(connection, task.photo_id, page)
        _add_look(connection, sighting, page, model, task.attempts + 1)
    return True


def _sighting(connection: Connection, photo_id: int, page: FoundPage) -> int:
    key = {
        "photo_id": photo_id,
        "frame": page.frame,
        "position": page.index,
        "study": page.study,
        "layout": page.layout,
        "sheet": page.sheet,
        "page": page.page,
    }
    insert_new(connection, schema.sightings, **key)
    query = select(schema.sightings.c.id).filter_by(**key)
    return int(connection.execute(query).scalar_one())


def _add_look(
    connection: Connection, sighting_id: int, page: FoundPage, model: str, attempt: int
) -> None:
    look = connection.execute(
        insert(schema.looks).values(
            sighting_id=sighting_id,
            attempt=attempt,
            at=now(),
            program=__version__,
            model=model,
            identified_by=page.identified_by,
            px_per_mm=page.px_per_mm,
            blur_mm=page.blur_mm,
            contrast=page.contrast,
            hidden_boxes=page.hidden_boxes,
            glare_share=page.glare_share,
            advice=page.advice,
            site=page.site,
            visit_date=page.visit_date,
            outline=json.dumps(page.outline),
        )
    ).inserted_primary_key
    assert look is not None
    rows = [
        {
            "look_id": int(look[0]),
            "field": f.field,
            "value": f.value,
            "confidence": f.confidence,
            "status": f.status,
            "reason": f.reason,
            "runner_up": f.runner_up,
            "runner_up_confidence": f.runner_up_confidence,
            "corners": json.dumps(f.corners),
            "boxes_png": f.boxes_png,
            "context_png": f.context_png,
        }
        for f in page.fields
    ]
    if rows:
        connection.execute(insert(schema.readings), rows)


def photos_with(connection: Connection, statuses: Sequence[str]) -> list[PhotoLine]:
    """The photos with one of these statuses, oldest first."""
    c = schema.photos.c
    query = select(c.id, c.name, c.status, c.reason).where(c.status.in_(statuses)).order_by(c.id)
    return [PhotoLine(*tuple(row)) for row in connection.execute(query)]
