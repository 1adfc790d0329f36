"""Photos as they come into the record: kept by their hash, called by neutral names, each once.

Every function that takes a connection and writes is inside a writing transaction; all or nothing is
the caller's.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import PurePosixPath
from typing import Any, Literal

from sqlalchemy import Connection, Table, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from sheet_reader.intake.files import Origin
from sheet_reader.reasons import Reasons, from_json
from sheet_reader.record.store import schema
from sheet_reader.record.store.place import ARRIVING
from sheet_reader.study.days import now
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name

PhotoStatus = Literal["waiting", "read", "no sheet", "failed", "stopped", "typed"]
PACKAGES = ("numpy", "opencv-python", "pillow", "pillow-heif", "pypdfium2", "scipy", "zxing-cpp")
"""Those that open pictures and find sheets in them."""


@dataclass(frozen=True, slots=True)
class PhotoLine:
    """One photo and its fate, for messages; ``received_at`` as :func:`now` writes it."""

    photo_id: int
    name: str
    status: PhotoStatus
    reasons: Reasons = ()
    received_at: str = ""


def photo_lines(connection: Connection) -> list[PhotoLine]:
    """Every photo, and every typed sheet, oldest first."""
    c = schema.photos.c
    query = select(c.id, c.name, c.status, c.reasons, c.received_at).order_by(c.id)
    return [
        PhotoLine(row.id, row.name, row.status, from_json(row.reasons), row.received_at)
        for row in connection.execute(query)
    ]


def both_names(photo_id: int, name: str) -> str:
    """The file's name with the neutral one beside it, for messages on her own terminal.

    >>> both_names(27, "garden.jpg")
    'garden.jpg (photo-0027)'
    """
    neutral = neutral_name(photo_id)
    return neutral if name in ("", neutral) else f"{name} ({neutral})"


def insert_new(connection: Connection, table: Table, **values: Any) -> bool:
    """Insert a row unless its unique key is there already; says whether it was inserted."""
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    statement = dialect.insert(table).values(**values).on_conflict_do_nothing()
    inserted = connection.execute(statement.returning(*table.primary_key.columns))
    return inserted.first() is not None


def insert_row(connection: Connection, table: Table, **values: Any) -> int:
    """Insert a row; gives its id."""
    added = connection.execute(insert(table).values(**values)).inserted_primary_key
    assert added is not None
    return int(added[0])


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
    and photos are called by their numbers. Phones call many photos ``image0.jpg``: a second one
    gets its number into the name.
    """
    c = schema.photos.c
    new = connection.scalar(select(c.id).filter_by(sha256=digest)) is None and insert_new(
        connection, schema.photos, sha256=digest, name=name, original=original, bytes=size,
        received_at=now(), status="waiting", attempts=0, program="", model="",
    )  # fmt: skip
    found = connection.execute(select(c.id, c.forgotten_at).where(c.sha256 == digest)).one()
    photo_id = int(found.id)
    others = select(c.id).where(c.name == name, c.id != photo_id).limit(1)
    if new and connection.execute(others).first() is not None:
        stem, dot, ending = name.rpartition(".")
        own = f"{stem} ({photo_id}).{ending}" if dot else f"{name} ({photo_id})"
        connection.execute(update(schema.photos).where(c.id == photo_id).values(name=own))
    if found.forgotten_at is None:
        insert_new(connection, schema.origins, photo_id=photo_id, seen_at=now(), **asdict(origin))
    return photo_id, new


def circumstances(study: Study) -> str:
    """A digest of what besides the photo, the program and the model decides whether a photo can be
    read: the study's pages and sites and the packages that are there. A refusal holds only while
    these are as they were.

    Raises StudyError where the study does not fit its paper.
    """
    from sheet_reader.sheet.kept_layouts import whole_book

    def there(package: str) -> str:
        try:
            return version(package)
        except PackageNotFoundError:
            return ""

    told = {
        "study": study.key,
        "layouts": sorted(whole_book(study).versions),
        "sites": sorted(site.number for site in study.sites),
        "packages": {name: there(name) for name in PACKAGES},
        "printed code": shutil.which("tesseract") is not None,
    }
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
