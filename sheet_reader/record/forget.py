"""Removing a person's data from the record and keeping the counts."""

from __future__ import annotations

import hashlib
import io
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from sqlalchemy import Connection, delete, select, update

from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import open_pictures
from sheet_reader.intake.types import Picture
from sheet_reader.record import originals, schema
from sheet_reader.record.engine import our_errors
from sheet_reader.record.model import now
from sheet_reader.record.store import Record
from sheet_reader.study.model import Study

SHORTEST = 3
ANONYMOUS = "photo {}"
NOTHING = np.full((8, 8), 255, dtype=np.uint8)
"""Stands for a page that gave no picture, so that the others keep their numbers."""


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What was removed; ``elsewhere`` lists files of the study that name the person still."""

    origins: int
    photos: int
    elsewhere: tuple[str, ...]


def forget(study: Study, contact: str, url: str | None = None) -> Forgotten:
    """Remove what is known of the person whose name or address holds ``contact``.

    Who sent a photo, when, under which subject and file name goes; the photo keeps a number as its
    name. Its original is replaced by the bare grey picture, as it was read, without the tags of
    the camera (place, owner, time). Counts, readings and decisions stay. The roster, the inbox and
    backups are the coordinator's own files: those that still hold the name are listed.
    Raises :class:`UsageError` where ``contact`` is too short or unknown.
    """
    if len(contact.strip()) < SHORTEST:
        raise UsageError(f"“{contact}” is too short to tell one person from another")
    who = _pattern(contact.strip())
    with Record.open(study, url, of_any_study=True) as record:
        with record.reading() as connection:
            found = _naming(connection, who)
        elsewhere = _elsewhere(study, who)
        if not found and not elsewhere:
            raise UsageError(f"nothing in the record or the roster names “{contact}”")
        for photo_id, origin_ids in found.items():
            _forget_photo(record, photo_id, origin_ids)
        remove_forgotten(record)
        _wipe_free_pages(record)
    return Forgotten(sum(map(len, found.values())), len(found), elsewhere)


def _pattern(contact: str) -> re.Pattern[str]:
    """Finds the contact as whole words: "Ann" is not in "Joanne", nor jo@… in big.jo@…; the words
    of a name may be joined by other signs, as in ``Pat_Doe.jpg``.
    """
    if "@" in contact:
        text = rf"(?<![\w.+-]){re.escape(contact)}(?![\w-]|\.\w)"
    else:
        words = r"[\W_]+".join(re.escape(word) for word in contact.split())
        text = rf"(?<![^\W_]){words}(?![^\W_])"
    return re.compile(text, re.IGNORECASE)


def _naming(connection: Connection, who: re.Pattern[str]) -> dict[int, list[int]]:
    """Photos that name the person, with the ids of the origins that do."""
    p, o = schema.photos.c, schema.origins.c
    found: dict[int, list[int]] = {}
    query = select(o.id, o.photo_id, o.sender, o.file_name, o.subject, o.container)
    for row in connection.execute(query.order_by(o.photo_id)):
        if any(who.search(text) for text in row[2:]):
            found.setdefault(row.photo_id, []).append(row.id)
    for photo_id, name in connection.execute(select(p.id, p.name)):
        if who.search(name):
            found.setdefault(photo_id, [])
    return found


def _forget_photo(record: Record, photo_id: int, origin_ids: list[int]) -> None:
    """One photo: the bare picture is kept first, then the record names it instead."""
    before = record.photo_path(photo_id)
    with our_errors(record.folder):
        after = _bare(record.folder, before)
    with record.writing() as connection:
        connection.execute(delete(schema.origins).where(schema.origins.c.id.in_(origin_ids)))
        connection.execute(
            update(schema.photos)
            .where(schema.photos.c.id == photo_id)
            .values(name=ANONYMOUS.format(photo_id), original=after, forgotten_at=now())
        )


def remove_forgotten(record: Record) -> None:
    """Remove the originals that bare pictures have replaced, also after an interruption."""
    p = schema.photos.c
    with record.reading() as connection:
        query = select(p.sha256, p.original).where(p.forgotten_at.is_not(None))
        rows = connection.execute(query).all()
    with our_errors(record.folder):
        for digest, original in rows:
            for path in originals.of_digest(record.folder, digest):
                if path != record.folder / original:
                    path.unlink(missing_ok=True)


def _bare(folder: Path, original: Path) -> str:
    """Keep the picture without its tags; gives the place of the new original."""
    parts = open_pictures(original)
    frames = [p.gray if isinstance(p, Picture) else NOTHING for p in parts]
    data = b""
    if any(isinstance(p, Picture) for p in parts):
        stream = io.BytesIO()
        images = [Image.fromarray(frame) for frame in frames]
        images[0].save(
            stream,
            "TIFF",
            compression="tiff_adobe_deflate",
            save_all=True,
            append_images=images[1:],
        )
        data = stream.getvalue()
    place = originals.place_of(hashlib.sha256(data).hexdigest(), ".tif" if data else ".gone")
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


def _elsewhere(study: Study, who: re.Pattern[str]) -> tuple[str, ...]:
    found = [
        f"the roster names this contact for site {site.number}: edit the roster"
        for site in study.roster
        if who.search(site.contact)
    ]
    inbox = study.folder / "inbox"
    names = sorted(p.name for p in inbox.rglob("*") if who.search(p.name))
    return (*found, *(f"a file in the inbox bears the name: {name}" for name in names))
