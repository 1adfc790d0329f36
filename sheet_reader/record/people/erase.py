"""Removing a person's data from the record and keeping the counts."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, delete, select, update

from sheet_reader.errors import UsageError
from sheet_reader.record.history.photos import insert_new, is_bare
from sheet_reader.record.originals import originals
from sheet_reader.record.people.people import forget_names, person_meant
from sheet_reader.record.people.traces import (
    Traces,
    closed_files,
    copies_of,
    in_her_files,
    in_record,
)
from sheet_reader.record.store import schema
from sheet_reader.record.store.engine import RECORD_FILE, our_errors
from sheet_reader.record.store.store import Record
from sheet_reader.study.days import now
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name

TO_BLANK, TO_REMOVE = "name to blank", "original to remove"
"""Notes on the record of what an erasing has still to do: for a photo, by its number; and a file,
by its place."""


BarePicture = Callable[[Record, Any, bool], tuple[bytes, bool] | None]
"""Makes the bare picture of a photo (its row), who counted blanked in it where the last argument
asks for that: ``reading.written_areas.bare_picture``.
"""


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


def named(study: Study, contact: str, photos: Collection[int] = ()) -> Traces:
    """What :func:`erase` would remove, so that it can be told before.

    Raises :class:`UsageError` where ``contact`` means no single person.
    """
    who = person_meant(contact)
    with Record.open(study, of_any_study=True) as record:
        return in_record(record, who, photos)


def erase(
    study: Study,
    contact: str,
    bare_picture: BarePicture,
    photos: Collection[int] = (),
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
    with Record.open(study, of_any_study=True) as record:
        traces, elsewhere = in_record(record, who, photos), in_her_files(study, who)
        if not traces.any and not elsewhere:
            raise UsageError(f"nothing in the record or the site list names “{contact}”")
        hers = traces.photos | {number: [] for number in traces.at_sites}
        for photo_id, origin_ids in hers.items():
            with record.writing() as connection:
                gone = delete(schema.origins).where(schema.origins.c.id.in_(origin_ids))
                connection.execute(gone)
                photo = update(schema.photos).where(schema.photos.c.id == photo_id)
                connection.execute(photo.values(name=neutral_name(photo_id), forgotten_at=now()))
                insert_new(connection, schema.about, name=TO_BLANK, value=str(photo_id))
        with record.writing() as connection:
            decisions = forget_names(connection, who)
            remarks = schema.remarks.c.id.in_(traces.remarks)
            connection.execute(delete(schema.remarks).where(remarks))
        remove_erased(record, bare_picture)
        lingering = _wipe_free_pages(record)
        kept = _not_bare(record, hers)
        with record.reading() as connection:
            p = schema.photos.c
            whole = select(p.sha256).where(p.id.in_(hers), p.original != "")
            digests = frozenset(connection.scalars(whole))
        copies = copies_of(study.folder, digests, hers)
    origins = sum(map(len, hers.values()))
    listed = (*elsewhere, *copies, *closed_files(study, backups=traces.any))
    return Erased(origins, len(hers), decisions, len(traces.remarks), listed, kept, lingering)


def remove_erased(record: Record, bare_picture: BarePicture) -> None:
    """Put bare pictures in place of the originals of erased photos, and remove those; also after an
    interruption, and as soon as a photo can be opened, or a sheet in it was found, that could not
    be before. A bare picture is kept first, then the record names it instead.
    """
    p = schema.photos.c
    with record.reading() as connection:
        query = select(p.id, p.sha256, p.original).where(p.forgotten_at.is_not(None))
        rows = connection.execute(query.where(p.original != "")).all()
        to_blank = schema.notes(connection, TO_BLANK)
    for row in rows:
        original: str = row.original
        blank = str(row.id) in to_blank
        if blank or not is_bare(row.sha256, original):
            with our_errors(record.folder):
                if (made := bare_picture(record, row, blank)) is not None:
                    data, blanked = made
                    original = originals.place_of(hashlib.sha256(data).hexdigest(), ".tif")
                    originals.keep(record.folder, original, data)
                    _replace(record, row, original, blanked=blanked)
        if is_bare(row.sha256, original):
            with our_errors(record.folder):
                for place in originals.of_digest(record.folder, row.sha256):
                    if place != original:
                        originals.remove(record.folder, place)
    _remove_replaced(record)


def _forget_note(connection: Connection, name: str, value: str) -> None:
    a = schema.about.c
    connection.execute(delete(schema.about).where(a.name == name, a.value == value))


def _replace(record: Record, photo: Any, bare: str, *, blanked: bool) -> None:
    with record.writing() as connection:
        changed = update(schema.photos).where(schema.photos.c.id == photo.id)
        connection.execute(changed.values(original=bare))
        if bare != photo.original:
            insert_new(connection, schema.about, name=TO_REMOVE, value=photo.original)
        if blanked:
            _forget_note(connection, TO_BLANK, str(photo.id))


def _remove_replaced(record: Record) -> None:
    """Remove the files that the record names no more, then the notes of them."""
    with record.reading() as connection:
        places = schema.notes(connection, TO_REMOVE)
        in_use = originals.places_in(connection)
    for place in places:
        if place not in in_use:
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
        to_blank = schema.notes(connection, TO_BLANK)
    return tuple(
        _what_is_left(row, originals.at(record.folder, row.original))
        for row in rows
        if str(row.id) in to_blank or not is_bare(row.sha256, row.original)
    )


def _what_is_left(photo: Any, file: originals.File) -> str:
    name, place = photo.name, photo.original
    if not is_bare(photo.sha256, place):
        if not file.is_file():
            return f"{name}: its original is missing ({place}), so nothing of it was kept"
        return (
            f"{name} can't be opened here, so its original stays with all that the camera wrote "
            f"into it: {place} (install the package for its kind and start read, which makes it "
            "bare, or delete this file yourself)"
        )
    if photo.status == "waiting":
        return (
            f"{name} is not read yet, so it is not known where who counted stands in it; the next "
            "read blanks that"
        )
    return (
        f"{name}: it is not known where who counted stands in it, so a name that was written "
        f"there stays: look at {file if isinstance(file, Path) else place}, point at the sheet in "
        "review and start read, or delete this file yourself"
    )


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
