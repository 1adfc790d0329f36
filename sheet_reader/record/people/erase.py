"""Removing a person's data from the record and keeping the counts."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from sqlalchemy import Connection, delete, select, update

from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import open_pictures
from sheet_reader.intake.types import Picture
from sheet_reader.record.history.photos import insert_new, is_bare
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.areas import SheetSeen, blank_names, sheets_seen
from sheet_reader.record.people.anonymise import forget_names
from sheet_reader.record.people.people import Person, person_meant
from sheet_reader.record.people.remarks import forget_remarks
from sheet_reader.record.people.traces import (
    Traces,
    backups_in,
    copies_of,
    in_her_files,
    in_record,
    not_looked_into,
)
from sheet_reader.record.store import schema
from sheet_reader.record.store.engine import RECORD_FILE, our_errors
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.kept_layouts import whole_book
from sheet_reader.study.days import now
from sheet_reader.study.model import Study
from sheet_reader.wording import neutral_name

NOTHING = np.full((8, 8), 255, dtype=np.uint8)
"""Stands for a page that gave no picture, so that the others keep their numbers."""


TO_BLANK, TO_REMOVE = "name to blank", "original to remove"
"""Notes on the record of what an erasing has still to do: for a photo, by its number; and a file,
by its place."""


@dataclass(frozen=True, slots=True)
class Erased:
    """What was removed; ``elsewhere`` lists what in the coordinator's own files names the person
    still, and backups made before; ``kept`` says of each photo that is not anonymous yet what is
    still in it, ``lingering`` where else removed text may still stand. ``photos`` is the number of
    all that were hers.
    """

    origins: int
    photos: int
    decisions: int
    remarks: int
    elsewhere: tuple[str, ...]
    kept: tuple[str, ...] = ()
    lingering: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Meant:
    """What :func:`erase` would remove: ``traces``, and the photos of ``at_sites`` whose contact the
    person is, in which she may have written her name. ``others`` is the number of all other photos.
    """

    traces: Traces
    at_sites: tuple[int, ...]
    others: int


def named(
    study: Study, contact: str, url: str | None = None, photos: Collection[int] = ()
) -> Meant:
    """What :func:`erase` would remove, so that it can be told before.

    Raises :class:`UsageError` where ``contact`` means no single person.
    """
    who = person_meant(contact)
    with Record.open(study, url, of_any_study=True) as record:
        return _meant(record, who, photos)


def _meant(record: Record, who: Person, photos: Collection[int]) -> Meant:
    with record.reading() as connection:
        traces = in_record(connection, record.folder, who, photos)
        p = schema.photos.c
        query = select(p.id).where(p.original != "", p.forgotten_at.is_(None))
        whole = set(connection.execute(query).scalars())
    sites = {site.number for site in record.study.sites if who.named_in(site.contact)}
    visits = [*record.state(), *record.state_aside()] if sites else []
    seen = {page.photo_id for v in visits if v.site in sites for page in v.pages}
    at_sites = tuple(sorted((seen & whole) - set(traces.photos)))
    return Meant(traces, at_sites, len(whole - seen - set(traces.photos)))


def erase(
    study: Study, contact: str, url: str | None = None, photos: Collection[int] = ()
) -> Erased:
    """Remove what is known of the person whose name or address holds ``contact``.

    Who sent a photo, when, under which subject and file name goes; the photo keeps its neutral
    name. Its original is replaced by the bare grey picture, as it was read, without any tags
    (place, owner, time) and with the space for who counted blanked; so are photos of which only the
    tags name her, those of sites whose contact she is, and these ``photos`` (ids), of which she is
    seen to be the one who counted. The record names the bare picture by its own hash. One that
    can't be opened, or blanked since no sheet was found in it, is named; a later run of ``read``
    does it as soon as that is possible. Who decided becomes unknown; remarks that she made, or
    that name her, go, and so do reasons that name her. Counts, readings and decisions stay. The
    site list, the inbox, tables, overlays and backups are the coordinator's own files: those that
    still hold the name are listed. Raises :class:`UsageError` where ``contact`` means no single
    person or is unknown.
    """
    who = person_meant(contact)
    with Record.open(study, url, of_any_study=True) as record:
        meant = _meant(record, who, photos)
        traces, elsewhere = meant.traces, in_her_files(study, who)
        if not traces.any and not elsewhere:
            raise UsageError(f"nothing in the record or the site list names “{contact}”")
        hers = traces.photos | {number: [] for number in meant.at_sites}
        for photo_id, origin_ids in hers.items():
            _erase_photo(record, photo_id, origin_ids)
        with record.writing() as connection:
            decisions = forget_names(connection, who)
            forget_remarks(connection, traces.remarks)
        remove_erased(record)
        lingering = _wipe_free_pages(record)
        kept = _not_bare(record, hers)
        copies = copies_of(study.folder, _digests(record, hers), hers)
    origins = sum(map(len, hers.values()))
    backups = backups_in(study) if traces.any else ()
    listed = (*elsewhere, *copies, *not_looked_into(study), *backups)
    return Erased(origins, len(hers), decisions, len(traces.remarks), listed, kept, lingering)


def _digests(record: Record, photo_ids: Collection[int]) -> frozenset[str]:
    p = schema.photos.c
    with record.reading() as connection:
        query = select(p.sha256).where(p.id.in_(photo_ids), p.original != "")
        return frozenset(connection.execute(query).scalars())


def _erase_photo(record: Record, photo_id: int, origin_ids: list[int]) -> None:
    """One photo: the bare picture is kept first, then the record names it instead."""
    with record.writing() as connection:
        connection.execute(delete(schema.origins).where(schema.origins.c.id.in_(origin_ids)))
        photo = update(schema.photos).where(schema.photos.c.id == photo_id)
        connection.execute(photo.values(name=neutral_name(photo_id), forgotten_at=now()))
        insert_new(connection, schema.about, name=TO_BLANK, value=str(photo_id))


def remove_erased(record: Record) -> None:
    """Put bare pictures in place of the originals of erased photos, and remove those; also after an
    interruption, and as soon as a photo can be opened, or a sheet in it was found, that could not
    be before.
    """
    p = schema.photos.c
    with record.reading() as connection:
        query = select(p.id, p.sha256, p.original).where(p.forgotten_at.is_not(None))
        rows = connection.execute(query.where(p.original != "")).all()
        to_blank = _noted(connection, TO_BLANK)
    book = whole_book(record.study) if to_blank else None
    for row in rows:
        original: str = row.original
        sheets = None
        if book is not None and str(row.id) in to_blank:
            with record.reading() as connection:
                sheets = sheets_seen(connection, book, row.id)
        if sheets is not None or not is_bare(row.sha256, original):
            with our_errors(record.folder):
                bare = _bare(record.folder, originals.at(record.folder, original), sheets or ())
            if bare is not None:
                _replace(record, row.id, original, bare, blanked=sheets is not None)
                original = bare
        if is_bare(row.sha256, original):
            with our_errors(record.folder):
                for place in originals.of_digest(record.folder, row.sha256):
                    if place != original:
                        originals.remove(record.folder, place)
    _remove_replaced(record)


def _noted(connection: Connection, name: str) -> frozenset[str]:
    query = select(schema.about.c.value).where(schema.about.c.name == name)
    return frozenset(connection.execute(query).scalars())


def _forget_note(connection: Connection, name: str, value: str) -> None:
    a = schema.about.c
    connection.execute(delete(schema.about).where(a.name == name, a.value == value))


def _replace(record: Record, photo_id: int, before: str, bare: str, *, blanked: bool) -> None:
    with record.writing() as connection:
        photo = update(schema.photos).where(schema.photos.c.id == photo_id)
        connection.execute(photo.values(original=bare))
        if bare != before:
            insert_new(connection, schema.about, name=TO_REMOVE, value=before)
        if blanked:
            _forget_note(connection, TO_BLANK, str(photo_id))


def _remove_replaced(record: Record) -> None:
    """Remove the files that the record names no more, then the notes of them."""
    with record.reading() as connection:
        places = _noted(connection, TO_REMOVE)
        named = set(connection.execute(select(schema.photos.c.original)).scalars())
    for place in places:
        if place not in named:
            with our_errors(record.folder):
                originals.remove(record.folder, place)
        with record.writing() as connection:
            _forget_note(connection, TO_REMOVE, place)


def _not_bare(record: Record, photo_ids: Collection[int]) -> tuple[str, ...]:
    """Says of each photo that is not anonymous yet what is still in it, and what to do."""
    p = schema.photos.c
    query = select(p.id, p.name, p.sha256, p.status, p.original).where(p.id.in_(photo_ids))
    with record.reading() as connection:
        rows = connection.execute(query.where(p.original != "").order_by(p.id)).all()
        to_blank = _noted(connection, TO_BLANK)
    return tuple(
        _what_is_left(row.name, row.status, row.original, originals.at(record.folder, row.original))
        if is_bare(row.sha256, row.original)
        else f"{row.name} can't be opened here, so its original stays with all that the camera "
        f"wrote into it: {row.original} (install the package for its kind and start read, which "
        "makes it bare, or delete this file yourself)"
        if originals.at(record.folder, row.original).is_file()
        else f"{row.name}: its original is missing ({row.original}), so nothing of it was kept"
        for row in rows
        if str(row.id) in to_blank or not is_bare(row.sha256, row.original)
    )


def _what_is_left(name: str, status: str, place: str, file: originals.File) -> str:
    if status == "waiting":
        return (
            f"{name} is not read yet, so it is not known where who counted stands in it; the next "
            "read blanks that"
        )
    return (
        f"{name}: it is not known where who counted stands in it, so a name that was written "
        f"there stays: look at {file if isinstance(file, Path) else place}, point at the sheet in "
        "review and start read, or delete this file yourself"
    )


def _bare(
    folder: Path, original: originals.File, sheets: Collection[SheetSeen]
) -> str | None:
    """Keep the picture without its tags, who counted blanked on these ``sheets``; gives the place
    of the new original, or None where the file gives no picture.
    """
    parts = open_pictures(original)
    if not any(isinstance(p, Picture) for p in parts):
        return None
    stream = io.BytesIO()
    frames = [p.gray.copy() if isinstance(p, Picture) else NOTHING for p in parts]
    for number, frame in enumerate(frames):
        blank_names(frame, [sheet for sheet in sheets if sheet.frame == number])
    images = [Image.fromarray(frame) for frame in frames]
    images[0].save(
        stream,
        "TIFF",
        compression="tiff_adobe_deflate",
        save_all=True,
        append_images=images[1:],
    )
    data = stream.getvalue()
    place = originals.place_of(hashlib.sha256(data).hexdigest(), ".tif")
    originals.keep(folder, place, data)
    return place


def _wipe_free_pages(record: Record) -> tuple[str, ...]:
    """Make sure that removed text does not linger in unused pages of the database file; says where
    it may all the same.
    """
    if record.engine.dialect.name != "sqlite":
        return ()  # what a server's log and backups keep is told by who runs it
    with our_errors(record.where), record.engine.connect() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        raw.execute("VACUUM")
        busy, _, _ = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    if busy:
        return (
            f"another program has the record open, so removed text stays in {RECORD_FILE}-wal: "
            "close it, then erase once more",
        )
    return ()
