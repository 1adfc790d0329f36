"""What reading a photo gives, and how it is kept: its pages, each once however often it is read."""

from __future__ import annotations

import json
import math
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter

from sqlalchemy import Connection, func, select, update

from sheet_reader import __version__
from sheet_reader.decode.pages import FieldReading
from sheet_reader.reasons import Code, Reason, Reasons, because, to_json
from sheet_reader.record.history.answers import SheetAnswer
from sheet_reader.record.history.deciding import add_answer
from sheet_reader.record.history.meaning_answers import keep_wording
from sheet_reader.record.history.photos import PhotoStatus, insert_new, insert_row
from sheet_reader.record.history.runs import add_run
from sheet_reader.record.history.sheets import WITHDRAWN, standing
from sheet_reader.record.store import schema
from sheet_reader.record.store.claims import Task
from sheet_reader.study.days import now
from sheet_reader.study.study import Study
from sheet_reader.vision.findings import POINTED


@dataclass(frozen=True, slots=True)
class FoundField:
    """A reading as it goes into the record. ``boxes_png`` holds its crops side by side as one grey
    PNG, ``corners`` per box its four corners in the picture in px, ``context_png`` may be b"".
    """

    reading: FieldReading
    boxes_png: bytes
    context_png: bytes
    corners: tuple[tuple[tuple[float, float], ...], ...] = ()


@dataclass(frozen=True, slots=True)
class FoundPage:
    """A page as it goes into the record. ``outline`` are its corners in the picture in px;
    ``evidence`` is what it was decoded from, packed, and ``decoded_under`` names the rules.
    ``wording`` is what its names mean (as text, see :mod:`sheet_reader.study.former`), and
    ``site_label`` what its site is called; None where that is not known.
    """

    frame: int
    study: str
    layout: str
    sheet: str
    page: int
    identified_by: str
    px_per_mm: float
    blur_mm: float
    contrast: float
    hidden_boxes: int
    glare_share: float
    advice: str
    site: str | None
    visit_date: str | None
    outline: tuple[tuple[float, float], ...]
    wording: str
    fields: tuple[FoundField, ...] = ()
    threshold: float = 0.0
    evidence: bytes | None = None
    decoded_under: str | None = None
    site_label: str | None = None


@dataclass(frozen=True, slots=True)
class PhotoResult:
    """Everything one photo gave: pages, and a reason for each part of it that gave none.

    ``unforeseen`` says how the reader itself failed, "" where it did not. ``notes`` are told and
    not kept: what a page that checks the print has shown.
    """

    pages: tuple[FoundPage, ...]
    failures: Reasons = ()
    status: PhotoStatus = "read"
    unforeseen: str = ""
    notes: tuple[Reason, ...] = ()


def new_identity(connection: Connection, photo_id: int, *code: object) -> str:
    """The identity of a page that is kept now, of its photo and the ``code`` that tells it from
    others in it: a UUID (RFC 9562, version 5), so that a record made anew of the same photos has
    the same ones.
    """
    p = schema.photos.c
    digest = connection.scalar(select(p.sha256).where(p.id == photo_id))
    return str(uuid.uuid5(uuid.NAMESPACE_OID, " ".join(map(str, ("page", digest, *code)))))


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
    c, k, s = schema.photos.c, schema.reading_runs.c, schema.page_instances.c
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
    known = _known_places(connection, task.photo_id)
    pages, attempt = result.pages, task.attempts + 1
    if task.only_new:  # the pages added belong to the attempt whose pages hold
        there = [former for former in known if not former.taken]
        pages = tuple(page for page in pages if not any(k.shows(page) for k in there))
        last = select(func.max(k.attempt)).join_from(schema.reading_runs, schema.page_instances)
        attempt = connection.scalar(last.where(s.photo_id == task.photo_id)) or 1
        for former in known:
            former.taken = True
    for page in pages:
        instance = _page_instance(connection, task.photo_id, page, known)
        add_run(connection, instance, page, model, attempt)
        if page.site is not None and page.site_label is not None:
            insert_new(connection, schema.site_labels, site=page.site, label=page.site_label)
    return True


@dataclass(slots=True)
class KnownPlace:
    """Where an earlier run saw a page in the photo; ``taken`` once it is found anew, or where it
    was withdrawn.
    """

    page_instance_id: int
    code: tuple[object, ...]
    position: int
    centre: tuple[float, float]
    taken: bool = False

    def shows(self, page: FoundPage) -> bool:
        """Whether ``page`` is at this place of the picture, under whatever code."""
        here = _centre(page.outline)
        reach = min((math.dist(here, corner) for corner in page.outline), default=0.0) / 2
        return self.code[0] == page.frame and math.dist(self.centre, here) < reach


def _known_places(connection: Connection, photo_id: int) -> list[KnownPlace]:
    s, k, d = schema.page_instances.c, schema.reading_runs.c, schema.sheet_decisions.c
    gone = select(d.page_instance_id).where(d.photo_id == photo_id, d.kind == WITHDRAWN)
    withdrawn = set(connection.scalars(gone))
    query = (
        select(s.id, s.position, k.outline, *(s[name] for name in CODE))
        .join_from(schema.page_instances, schema.reading_runs, k.page_instance_id == s.id)
        .where(s.photo_id == photo_id)
        .order_by(k.id)
    )
    latest = {
        row.id: KnownPlace(row.id, tuple(row[3:]), row.position, _centre(json.loads(row.outline)),
                           taken=row.id in withdrawn)
        for row in connection.execute(query)
    }  # fmt: skip
    return list(latest.values())


CODE = ("frame", "study", "layout", "sheet", "page")
"""What tells a page from others in its photo, alike ones apart."""
_code = attrgetter(*CODE)


def _centre(outline: Sequence[Sequence[float]]) -> tuple[float, float]:
    count = max(1, len(outline))
    return sum(p[0] for p in outline) / count, sum(p[1] for p in outline) / count


def _page_instance(
    connection: Connection, photo_id: int, page: FoundPage, known: list[KnownPlace]
) -> int:
    """The instance of this page: the nearest one of the same code that was known, else a new one.

    Several blank sheets in one photo have the same code; what was decided on one must not move to
    another when they are found in another order.
    """
    code, here = _code(page), _centre(page.outline)
    same = [k for k in known if k.code == code]
    free = [k for k in same if not k.taken]
    if free:
        nearest = min(free, key=lambda k: math.dist(k.centre, here))
        nearest.taken = True
        return nearest.page_instance_id
    position = 1 + max((k.position for k in same), default=-1)
    number = insert_row(
        connection,
        schema.page_instances,
        photo_id=photo_id,
        **dict(zip(CODE, code, strict=True)),
        position=position,
        identity=new_identity(connection, photo_id, *code, position),
        wording=keep_wording(connection, page.wording),
    )
    known.append(KnownPlace(number, code, position, here, taken=True))
    return number


def pointed_at(connection: Connection) -> dict[int, int]:
    """The sheets that were read where a person pointed and that count: photo by page instance."""
    s, k = schema.page_instances.c, schema.reading_runs.c
    first = select(func.min(k.id)).group_by(k.page_instance_id)
    query = (
        select(s.id, s.photo_id)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .where(k.identified_by == POINTED, k.id.in_(first))
    )
    gone = standing(connection).withdrawn
    return {page: photo for page, photo in connection.execute(query) if page not in gone}


def withdraw(
    connection: Connection, study: Study, photo_id: int, pages: Iterable[int], by: str
) -> None:
    """Let these sheets, which a person pointed at in a photo, count no more, with all that was
    decided on them; the photo is one without a sheet again. Readings and decisions stay in the
    record.
    """
    gone = [SheetAnswer(photo_id, page, "withdrawn") for page in pages]
    add_answer(connection, study, gone, by)
    back = update(schema.photos).where(schema.photos.c.id == photo_id)
    reasons = to_json((because(Code.POINTED_BACK),))
    connection.execute(back.values(status="no sheet", reasons=reasons))
