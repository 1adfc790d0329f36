"""Removing a person's data from the record and keeping the counts."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from sqlalchemy import delete, select, update

from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import open_pictures
from sheet_reader.intake.types import Picture
from sheet_reader.record import originals, schema
from sheet_reader.record.anonymise import forget_names
from sheet_reader.record.engine import our_errors
from sheet_reader.record.model import now
from sheet_reader.record.naming import neutral_name
from sheet_reader.record.remarks import forget_remarks
from sheet_reader.record.store import Record
from sheet_reader.record.traces import Traces, backups_in, in_her_files, in_record, pattern_of
from sheet_reader.record.writing import is_bare
from sheet_reader.study.model import Study

NOTHING = np.full((8, 8), 255, dtype=np.uint8)
"""Stands for a page that gave no picture, so that the others keep their numbers."""


@dataclass(frozen=True, slots=True)
class Erased:
    """What was removed; ``elsewhere`` lists what in the coordinator's own files names the person
    still, and backups made before; ``kept`` photos that could not be opened, so that the camera's
    tags are still in them.
    """

    origins: int
    photos: int
    decisions: int
    remarks: int
    elsewhere: tuple[str, ...]
    kept: tuple[str, ...] = ()


def named(study: Study, contact: str, url: str | None = None) -> Traces:
    """What :func:`erase` would remove, so that it can be told before.

    Raises :class:`UsageError` where ``contact`` means no single person.
    """
    who = pattern_of(contact)
    with Record.open(study, url) as record, record.reading() as connection:
        return in_record(connection, study.folder, who)


def erase(study: Study, contact: str, url: str | None = None) -> Erased:
    """Remove what is known of the person whose name or address holds ``contact``.

    Who sent a photo, when, under which subject and file name goes; the photo keeps its neutral
    name. Its original is replaced by the bare grey picture, as it was read, without any tags
    (place, owner, time); so are photos of which only the tags name her. One that can't be opened is
    kept as it is and named, and made bare by a later run that can open it. Who decided becomes
    unknown; remarks that she made, or that name her, go, and so do reasons that name her. Counts,
    readings and decisions stay. The site list, the inbox, tables, overlays and backups are the
    coordinator's own files: those that still hold the name are listed.
    Raises :class:`UsageError` where ``contact`` means no single person or is unknown.
    """
    who = pattern_of(contact)
    with Record.open(study, url, of_any_study=True) as record:
        with record.reading() as connection:
            traces = in_record(connection, study.folder, who)
        elsewhere = in_her_files(study, who)
        if not traces.any and not elsewhere:
            raise UsageError(f"nothing in the record or the site list names “{contact}”")
        for photo_id, origin_ids in traces.photos.items():
            _erase_photo(record, photo_id, origin_ids)
        with record.writing() as connection:
            decisions = forget_names(connection, who)
            forget_remarks(connection, traces.remarks)
        remove_erased(record)
        _wipe_free_pages(record)
        kept = _not_bare(record, traces.photos)
    origins = sum(map(len, traces.photos.values()))
    hers = (*elsewhere, *(backups_in(study) if traces.any else ()))
    said = len(traces.remarks)
    return Erased(origins, len(traces.photos), decisions, said, hers, kept)


def _erase_photo(record: Record, photo_id: int, origin_ids: list[int]) -> None:
    """One photo: the bare picture is kept first, then the record names it instead."""
    before = record.photo_path(photo_id)
    with our_errors(record.folder):
        after = _bare(record.folder, before)
    with record.writing() as connection:
        connection.execute(delete(schema.origins).where(schema.origins.c.id.in_(origin_ids)))
        c = schema.photos.c
        photo = update(schema.photos).where(c.id == photo_id)
        connection.execute(photo.values(name=neutral_name(photo_id), forgotten_at=now()))
        if after is not None:
            connection.execute(photo.values(original=after))


def remove_erased(record: Record) -> None:
    """Remove the originals that bare pictures have replaced, also after an interruption, and make
    those bare that could not be opened before.
    """
    p = schema.photos.c
    with record.reading() as connection:
        query = select(p.id, p.sha256, p.original).where(p.forgotten_at.is_not(None))
        rows = connection.execute(query).all()
    for row in rows:
        original: str | None = row.original
        if not is_bare(row.sha256, row.original):
            with our_errors(record.folder):
                original = _bare(record.folder, originals.at(record.folder, row.original))
            if original is None:
                continue
            with record.writing() as connection:
                photo = update(schema.photos).where(p.id == row.id)
                connection.execute(photo.values(original=original))
        with our_errors(record.folder):
            for place in originals.of_digest(record.folder, row.sha256):
                if place != original:
                    originals.remove(record.folder, place)
    _remove_emptied(record)


def _remove_emptied(record: Record) -> None:
    """The empty file of earlier versions, once no photo is without its own any more."""
    place = originals.place_of(hashlib.sha256(b"").hexdigest(), ".gone")
    if not originals.at(record.folder, place).is_file():
        return
    with record.reading() as connection:
        named = select(schema.photos.c.id).where(schema.photos.c.original == place)
        if connection.execute(named).first() is None:
            with our_errors(record.folder):
                originals.remove(record.folder, place)


def _not_bare(record: Record, photo_ids: Collection[int]) -> tuple[str, ...]:
    """Says of each photo that its original could not be made bare, and what to do."""
    p = schema.photos.c
    query = select(p.id, p.name, p.sha256, p.original).where(p.id.in_(photo_ids)).order_by(p.id)
    with record.reading() as connection:
        rows = [r for r in connection.execute(query) if not is_bare(r.sha256, r.original)]
    return tuple(
        f"{row.name} can't be opened here, so its original stays with all that the camera wrote "
        f"into it: {row.original} (install the package for its kind and start read, which makes "
        "it bare, or delete this file yourself)"
        if originals.at(record.folder, row.original).is_file()
        else f"{row.name}: its original is missing ({row.original}), so nothing of it was kept"
        for row in rows
    )


def _bare(folder: Path, original: originals.File) -> str | None:
    """Keep the picture without its tags; gives the place of the new original, or None where the
    file gives no picture.
    """
    parts = open_pictures(original)
    if not any(isinstance(p, Picture) for p in parts):
        return None
    stream = io.BytesIO()
    frames = [p.gray if isinstance(p, Picture) else NOTHING for p in parts]
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


def _wipe_free_pages(record: Record) -> None:
    """Make sure that removed text does not linger in unused pages of the database file."""
    if record.engine.dialect.name != "sqlite":
        return
    with our_errors(record.where), record.engine.connect() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        raw.execute("VACUUM")
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
