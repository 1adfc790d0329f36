"""Which record a study folder belongs to, and whether it is there.

Where it is kept elsewhere, a small file in the folder says so in plain words, without a password,
and the record bears the same sign. A record that knows none of the photos that were kept is not the
folder's, or is lost.
"""

from __future__ import annotations

import json
import os
import tomllib
import uuid
from collections.abc import Callable, Set
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL, Connection, Table, inspect, make_url, select

from sheet_reader.atomic import atomic_write
from sheet_reader.errors import RecordError, UsageError
from sheet_reader.record.originals import originals
from sheet_reader.record.store import schema
from sheet_reader.record.store.engine import (
    EXAMPLE,
    RECORD_FILE,
    URL_VARIABLE,
    checked_address,
    open_engine,
    our_errors,
)
from sheet_reader.study.study import Study

PLACE_FILE = "record_place.toml"
"""In a study folder: where its record is, if it is kept elsewhere."""
IDENTITY = "identity"
"""The name of the record's sign in its table ``about``."""
ARRIVING = "arriving"
"""Notes there the first photo about to be kept, until the record holds photos."""
_SAFE = ("host", "port", "options")
_TEXT = """\
# Where the record of this study is kept. No password stands here, and none should.
# Before you work, set {variable} to this address, with your own USER and PASSWORD:
address = {address}
# The record bears the same sign, so that no other study writes into it:
identity = "{identity}"
# The folder that this file was written for. A copy is asked about once: sheet-reader join
folder = {folder}
folder_number = {number}
"""
View = Callable[[], AbstractContextManager[Connection]]
"""Gives a connection with a fresh view of the record."""


@dataclass(frozen=True, slots=True)
class Place:
    """What the folder's file says: the ``address`` without name and password, the ``identity`` of
    the record, and the folder that it was written for.
    """

    address: str
    identity: str
    folder: str = ""
    folder_number: int = 0

    def is_of(self, folder: Path) -> bool:
        """Whether it was written for this folder, moved or not, and not for one it is a copy of."""
        return self.folder == str(folder.resolve()) or self.folder_number == folder.stat().st_ino


def place_of(folder: Path) -> Place | None:
    """What the folder says of a record elsewhere; None where it says nothing.

    Raises :class:`UsageError` for a file that can't be understood, and OSError.
    """
    file = folder / PLACE_FILE
    try:
        said = tomllib.loads(file.read_text(encoding="utf-8"))
        return Place(
            str(said["address"]), str(said["identity"]), str(said.get("folder", "")),
            int(said.get("folder_number", 0)),
        )  # fmt: skip
    except FileNotFoundError:
        return None
    except (ValueError, KeyError, TypeError) as error:
        raise UsageError(
            f"this file can't be understood ({error})", where=file,
            remedy=f"with {URL_VARIABLE} set, sheet-reader join writes it anew",
        ) from None  # fmt: skip


def has_record(folder: Path) -> bool:
    """Whether the study in ``folder`` has a record already."""
    if os.environ.get(URL_VARIABLE):
        return True
    return (folder / RECORD_FILE).exists() or (folder / PLACE_FILE).exists()


def must_have_record(folder: Path, remedy: str) -> None:
    """Raises :class:`UsageError` with this ``remedy`` where the study in ``folder`` has no record
    yet, and what :func:`must_not_be_blank` does where it is lost.
    """
    if not has_record(folder):
        must_not_be_blank(folder)
        raise UsageError("this study has no record yet", where=folder, remedy=remedy)


def must_not_be_blank(folder: Path) -> None:
    """Raises :class:`RecordError` where there is no record, or one of no bytes, beside photos, and
    :class:`UsageError` where it is kept elsewhere and nobody has said how to get there; asks
    nothing of a record whose address is given.
    """
    if os.environ.get(URL_VARIABLE):
        return
    if (place := place_of(folder)) is not None:
        raise UsageError(
            f"the record of this study is kept elsewhere, and {URL_VARIABLE} is not set",
            where=folder, remedy=f"set it to {place.address}",
        )  # fmt: skip
    file = folder / RECORD_FILE
    if (not file.exists() or file.stat().st_size == 0) and any(originals.all_kept(folder)):
        raise _lost(folder, file, f"the record is {'empty' if file.exists() else 'gone'}")


def must_know_its_photos(view: View, folder: Path, where: str) -> None:
    """Raises :class:`RecordError` where the record knows no photo, but photos were kept.

    A first run that was killed between keeping a photo and noting it has announced that photo.
    """
    with view() as connection:
        if knows_photos(connection):
            return
    kept = originals.digests(folder)
    with view() as connection:  # afresh: another run may have announced some meanwhile
        must_know(connection, kept, folder, where)


def must_know(connection: Connection, kept: Set[str], folder: Path, where: str) -> None:
    """The same for originals with the digests ``kept``, listed before the view was taken."""
    if not knows_photos(connection) and not kept <= set(_notes(connection, ARRIVING)):
        raise _lost(folder, where, "the record knows no photo")


def knows_photos(connection: Connection) -> bool:
    """Whether the record holds any photo."""
    if not _has(connection, schema.photos):
        return False
    return connection.execute(select(schema.photos.c.id).limit(1)).first() is not None


def _has(connection: Connection, table: Table) -> bool:
    return inspect(connection).has_table(table.name)


def _notes(connection: Connection, name: str) -> list[str]:
    """The record's notes on itself of this name; none in one that has no tables yet."""
    return schema.notes(connection, name) if _has(connection, schema.about) else []


def _lost(folder: Path, where: Path | str, what: str) -> RecordError:
    """The error for a record that does not belong to the photos kept beside it."""
    count = sum(1 for _ in originals.all_kept(folder))
    photos = "photo lies" if count == 1 else "photos lie"
    own = folder / RECORD_FILE
    remedy = (
        "put the latest backup back with restore; or, to start anew, move the folder "
        f"{originals.FOLDER} into inbox, so that its photos are read again"
    )
    if own.exists() and own.stat().st_size and Path(where) != own:
        remedy = f"the record of this study is {RECORD_FILE} in its folder: leave {URL_VARIABLE} " \
            "unset"  # fmt: skip
    what = f"{what}, yet {count} kept {photos} in {originals.FOLDER}/"
    return RecordError(what, where=where, remedy=remedy)


def plain_address(url: str) -> str:
    """The address as it may be written down: words for user and password in place of them."""
    found = make_url(url)
    kind = found.get_backend_name()
    if kind == "sqlite":
        return found.render_as_string()
    query = {key: value for key, value in found.query.items() if key in _SAFE}
    parts = found.host, found.port, found.database, query
    return URL.create(kind, "USER", "PASSWORD", *parts).render_as_string(hide_password=False)


def identity_in(connection: Connection) -> str | None:
    """The record's own sign, None in one that has none yet."""
    return next(iter(_notes(connection, IDENTITY)), None)


def must_match(view: View, folder: Path) -> bool:
    """Whether folder and record know each other already. Raises :class:`UsageError` where one knows
    another, or the folder is a copy of the one that is known.
    """
    place = place_of(folder)
    with view() as connection:
        there = identity_in(connection)
    if there is None and (place is None or not any(originals.all_kept(folder))):
        return False
    if place is None:
        what = "this folder does not belong to the record there, which another folder has begun"
    elif there != place.identity:
        what = f"the record there is not the one of this folder, which was kept at {place.address}"
    elif not place.is_of(folder):
        what = f"this folder is a copy of {place.folder}, whose record it would change"
    else:
        return True
    raise UsageError(
        what, where=folder,
        remedy=f"for a study of its own name another database in {URL_VARIABLE}; if it is a second "
        "desk of the same study, say so once with: sheet-reader join",
    )  # fmt: skip


def note_place(view: View, folder: Path, url: str) -> None:
    """Let folder and record know each other: ``view`` is for writing. The folder is told first, so
    that what a killed program leaves is taken up by the next.
    """
    place = place_of(folder)
    with view() as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("SELECT pg_advisory_xact_lock(737466)")
        there = identity_in(connection)
        identity = there or (place.identity if place else uuid.uuid4().hex)
        _write_place(folder, plain_address(url), identity)
        if there is None:
            connection.execute(schema.about.insert().values(name=IDENTITY, value=identity))


def _write_place(folder: Path, address: str, identity: str) -> None:
    text = _TEXT.format(
        variable=URL_VARIABLE, address=json.dumps(address), identity=identity,
        folder=json.dumps(str(folder.resolve()), ensure_ascii=False), number=folder.stat().st_ino,
    )  # fmt: skip
    atomic_write({folder / PLACE_FILE: text.encode()})


def join(study: Study) -> str:
    """Make the study's folder a desk of the record that the variable names; gives its address.

    Raises :class:`UsageError` where none is named, none is there, or the folder has a record or
    photos of its own that would be left behind, and :class:`StorageError`.
    """
    folder, url = study.folder, os.environ.get(URL_VARIABLE, "")
    if not url:
        raise UsageError(f"{URL_VARIABLE} names no record to join", where=folder, remedy=EXAMPLE)
    if (folder / RECORD_FILE).exists():
        raise UsageError(
            f"this folder has a record of its own ({RECORD_FILE})", where=folder,
            remedy="join from a folder without one; a copy of study.toml and the site list will do",
        )  # fmt: skip
    engine, address = open_engine(checked_address(url)), plain_address(url)
    with our_errors("the record database"):
        try:
            with engine.connect() as connection:
                if (identity := identity_in(connection)) is None:
                    raise UsageError("there is no record to join yet", where=address)
                strays = originals.strays(connection, folder)
        finally:
            engine.dispose()
        if strays:
            raise UsageError(
                "this folder keeps photos that the record there does not know", where=folder,
                remedy=f"it is another study's, or its {originals.FOLDER} belong into its inbox",
            )  # fmt: skip
        _write_place(folder, address, identity)
    return address
