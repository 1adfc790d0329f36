"""What goes into the record: photos, and the results of reading them.

Every function takes a connection inside a writing transaction; all or nothing is the caller's.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import PurePosixPath
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from sheet_reader import __version__
from sheet_reader.intake.files import Origin
from sheet_reader.reasons import from_json, to_json
from sheet_reader.record.history.model import FoundPage, PhotoLine, PhotoResult, now
from sheet_reader.record.history.naming import new_identity
from sheet_reader.record.history.runs import add_run
from sheet_reader.record.history.sheets import WITHDRAWN
from sheet_reader.record.store import schema
from sheet_reader.record.store.claims import Task
from sheet_reader.record.store.place import ARRIVING
from sheet_reader.study.model import Study


def insert_new(connection: Connection, table: Table, **values: Any) -> bool:
    """Insert a row unless its unique key is there already; says whether it was inserted."""
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    statement = dialect.insert(table).values(**values).on_conflict_do_nothing()
    inserted = connection.execute(statement.returning(*table.primary_key.columns))
    return inserted.first() is not None


def keep_wording(connection: Connection, said: str) -> int:
    """Keep what the names on a page mean (as text), unless it is known; gives its id."""
    c = schema.wordings.c
    known = connection.scalar(select(c.id).where(c.said == said))
    if known is not None:
        return int(known)
    added = connection.execute(insert(schema.wordings).values(said=said)).inserted_primary_key
    assert added is not None
    return int(added[0])


def keep_site_label(connection: Connection, study: Study, number: str) -> None:
    """Keep what a site of the list is called, to which a page belongs."""
    site = study.site(number)
    if site is not None:
        insert_new(connection, schema.site_labels, site=number, label=site.label)


def is_erased(connection: Connection, digest: str) -> bool:
    """Whether this photo's sender was forgotten and its bare picture kept: then nothing of it is
    kept again.
    """
    c = schema.photos.c
    query = select(c.sha256, c.original).where(c.sha256 == digest, c.forgotten_at.is_not(None))
    row = connection.execute(query).first()
    return row is not None and is_bare(row.sha256, row.original)


def is_bare(digest: str, original: str) -> bool:
    """Whether ``original`` is the bare picture of the photo with this hash, not the photo."""
    return PurePosixPath(original).stem != digest


def announce(connection: Connection, digest: str) -> None:
    """Note, in a record without photos, that this one is about to be kept."""
    insert_new(connection, schema.about, name=ARRIVING, value=digest)


def came_back(connection: Connection, digest: str, original: str) -> None:
    """A photo whose original was damaged or missing is whole again: read it once more where it
    gave nothing.
    """
    c = schema.photos.c
    known = update(schema.photos).where(c.sha256 == digest)
    connection.execute(known.values(original=original))
    fruitless = ("failed", "no sheet", "stopped")
    connection.execute(known.where(c.status.in_(fruitless)).values(status="waiting", attempts=0))


def add_photo(
    connection: Connection, digest: str, name: str, original: str, size: int, origin: Origin
) -> tuple[int, bool]:
    """Note a photo by its hash, and where it came from; gives its id and whether it is new.

    A known one is looked up first: a refused insertion would use up a number in some databases,
    and photos are called by their numbers.
    """
    by_hash = select(schema.photos.c.id).filter_by(sha256=digest)
    new = connection.scalar(by_hash) is None and insert_new(
        connection,
        schema.photos,
        sha256=digest,
        name=name,
        original=original,
        bytes=size,
        received_at=now(),
        status="waiting",
        attempts=0,
        program="",
        model="",
    )
    c = schema.photos.c
    found = connection.execute(select(c.id, c.forgotten_at).where(c.sha256 == digest)).one()
    photo_id = int(found.id)
    if new:
        _make_unique(connection, photo_id, name)
    if found.forgotten_at is None:
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


def finish(
    connection: Connection,
    task: Task,
    token: str,
    result: PhotoResult,
    model: str,
    circumstances: str,
) -> bool:
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
            reasons=to_json(result.failures),
            attempts=task.attempts + 1,
            read_at=now(),
            program=__version__,
            model=model,
            circumstances=circumstances,
            claimed_by=None,
            claimed_at=None,
        )
    )
    if done.rowcount != 1:
        return False
    known = _known_instances(connection, task.photo_id)
    pages, attempt = result.pages, task.attempts + 1
    if task.only_new:
        there = [former for former in known if not former.taken]
        pages = tuple(page for page in pages if not _seen_here(page, there))
        attempt = _last_attempt(connection, task.photo_id)
        for former in known:
            former.taken = True
    for page in pages:
        instance = _page_instance(connection, task.photo_id, page, known)
        add_run(connection, instance, page, model, attempt)
        if page.site is not None and page.site_label is not None:
            insert_new(connection, schema.site_labels, site=page.site, label=page.site_label)
    return True


def _seen_here(page: FoundPage, known: Sequence[_Known]) -> bool:
    """Whether a page was read at this place of the picture before, under whatever code."""
    here = _centre(page.outline)
    reach = min((math.dist(here, corner) for corner in page.outline), default=0.0) / 2
    return any(k.code[0] == page.frame and math.dist(k.centre, here) < reach for k in known)


def _last_attempt(connection: Connection, photo_id: int) -> int:
    """The attempt whose pages hold: pages added to them later belong to the same one."""
    k, s = schema.reading_runs.c, schema.page_instances.c
    query = select(func.max(k.attempt)).join_from(schema.reading_runs, schema.page_instances)
    return int(connection.scalar(query.where(s.photo_id == photo_id)) or 1)


@dataclass(slots=True)
class _Known:
    """A page that an earlier run saw in the photo, and where; ``taken`` once it is found anew, or
    where it was withdrawn.
    """

    page_instance_id: int
    code: tuple[int, str, str, str, int]
    position: int
    centre: tuple[float, float]
    taken: bool = False


def _known_instances(connection: Connection, photo_id: int) -> list[_Known]:
    s, k, d = schema.page_instances.c, schema.reading_runs.c, schema.sheet_decisions.c
    gone = select(d.page_instance_id).where(d.photo_id == photo_id, d.kind == WITHDRAWN)
    withdrawn = set(connection.scalars(gone))
    query = (
        select(s.id, s.frame, s.study, s.layout, s.sheet, s.page, s.position, k.outline)
        .join_from(schema.page_instances, schema.reading_runs, k.page_instance_id == s.id)
        .where(s.photo_id == photo_id)
        .order_by(k.id)
    )
    latest = {
        row.id: _Known(row.id, tuple(row[1:6]), row.position, _centre(json.loads(row.outline)),
                       taken=row.id in withdrawn)
        for row in connection.execute(query)
    }
    return list(latest.values())


def _centre(outline: Sequence[Sequence[float]]) -> tuple[float, float]:
    count = max(1, len(outline))
    return sum(p[0] for p in outline) / count, sum(p[1] for p in outline) / count


def _page_instance(
    connection: Connection, photo_id: int, page: FoundPage, known: list[_Known]
) -> int:
    """The instance of this page: the nearest one of the same code that was known, else a new one.

    Several blank sheets in one photo have the same code; what was decided on one must not move to
    another when they are found in another order.
    """
    code = (page.frame, page.study, page.layout, page.sheet, page.page)
    same = [k for k in known if k.code == code]
    free = [k for k in same if not k.taken]
    if free:
        here = _centre(page.outline)
        nearest = min(free, key=lambda k: math.dist(k.centre, here))
        nearest.taken = True
        return nearest.page_instance_id
    position = 1 + max((k.position for k in same), default=-1)
    added = connection.execute(
        insert(schema.page_instances).values(
            photo_id=photo_id,
            frame=page.frame,
            position=position,
            study=page.study,
            layout=page.layout,
            sheet=page.sheet,
            page=page.page,
            identity=new_identity(connection, photo_id, *code, position),
            wording=keep_wording(connection, page.wording),
        )
    ).inserted_primary_key
    assert added is not None
    known.append(_Known(int(added[0]), code, position, _centre(page.outline), taken=True))
    return int(added[0])


def photos_with(connection: Connection, statuses: Sequence[str]) -> list[PhotoLine]:
    """The photos with one of these statuses, oldest first."""
    c = schema.photos.c
    columns = (c.id, c.name, c.status, c.reasons, c.received_at)
    query = select(*columns).where(c.status.in_(statuses)).order_by(c.id)
    return [
        PhotoLine(row.id, row.name, row.status, from_json(row.reasons), row.received_at)
        for row in connection.execute(query)
    ]
