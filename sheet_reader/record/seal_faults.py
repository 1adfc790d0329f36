"""Rows that are not what was sealed, named by visit and field."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, select

from sheet_reader.record import schema, seals
from sheet_reader.record.loading import UNDO
from sheet_reader.record.seal_triggers import OWNERS
from sheet_reader.study.model import Study

NOUNS = {
    "photos": "the photo",
    "origins": "a note of where it came from",
    "letters": "a note of a mail",
    "sightings": "a page seen",
    "looks": "a look at the page",
    "readings": "the value read",
    "decisions": "a decision",
    "overruled": "a value that a decision overruled",
    "about": "a note on the record itself",
    "drafts": "a note of what a letter asked",
    "remarks": "a remark on a visit",
}


def text_as_bytes(connection: Connection) -> None:
    """Let text that is damaged beyond UTF-8 be read, so that it can be told."""
    raw = connection.connection.driver_connection
    if isinstance(raw, sqlite3.Connection):
        raw.text_factory = lambda data: data.decode("utf-8", "surrogateescape")


def seal_faults(connection: Connection, study: Study) -> Iterator[str]:
    """One line for each row that was changed, added or removed by anything but this program."""
    if not seals.has_seals(connection):
        return
    if connection.dialect.name == "sqlite" and seals.noted_schema(connection) != [
        seals.schema_digest(connection)
    ]:
        yield "the schema of the record was changed by another program, or is damaged"
    names = _Names.of(connection, study)
    for table in seals.SEALED:
        yield from _table_faults(connection, table, names)
    known = {table.name for table in seals.SEALED}
    for name in connection.execute(select(schema.seals.c.table_name).distinct()).scalars():
        if name not in known:
            yield f"the record holds checksums of an unknown table {name}"


def _table_faults(connection: Connection, table: Table, names: _Names) -> Iterator[str]:
    s = schema.seals.c
    query = select(s.row_id, s.owner, s.field, s.digest).where(s.table_name == table.name)
    sealed = {row.row_id: row for row in connection.execute(query)}
    owners = _owners(connection, table.name)
    for row_id, digest in seals.digests_of(connection, table):
        seal = sealed.pop(row_id, None)
        owner, field = owners.get(row_id, (None, ""))
        place = names.place(table.name, row_id, owner, field)
        if seal is None:
            yield f"{place} was added by another program"
        elif seal.digest in (seals.REMOVED, seals.REUSED, seals.GONE):
            sealed[row_id] = seal
        elif seal.digest in ("", seals.EDITED):
            yield f"{place} was added or changed by another program"
        elif (seal.digest, seal.owner, seal.field) != (digest, owner, field):
            yield f"{place} was changed by another program, or is damaged"
    for row_id, seal in sealed.items():
        if table is schema.photos:
            yield f"photo {row_id} was removed by another program"
            continue
        place = names.place(table.name, row_id, seal.owner, seal.field)
        yield f"{place} was removed by another program"


def _owners(connection: Connection, name: str) -> dict[int, tuple[Any, str]]:
    owner, field = (part.removeprefix("NEW.") for part in OWNERS[name])
    query = f"SELECT id, {owner}, {field} FROM {name}"
    return {row[0]: (row[1], row[2]) for row in connection.exec_driver_sql(query)}


@dataclass(frozen=True, slots=True)
class _Names:
    """What people know the rows by: photos by id, and by sighting its photo, page, site, date."""

    photos: Mapping[int, str]
    pages: Mapping[int, tuple[int | None, int | None]]
    visits: Mapping[int, tuple[str, str]]
    sighting_of_look: Mapping[int, int]

    @classmethod
    def of(cls, connection: Connection, study: Study) -> _Names:
        """Read from the record, damaged as it may be."""
        p, s, k, d = schema.photos.c, schema.sightings.c, schema.looks.c, schema.decisions.c
        looks = connection.execute(
            select(k.id, k.sighting_id, k.site, k.visit_date).order_by(k.id)
        ).all()
        visits = {row.sighting_id: {"site": row.site, "date": row.visit_date} for row in looks}
        kinds = {f.name: f.kind for f in study.fields if f.kind in ("site", "date")}
        undone = select(d.undoes).where(d.undoes.is_not(None))
        decided = (
            select(d.sighting_id, d.field, d.value)
            .where(d.kind != UNDO, d.id.not_in(undone), d.field.in_(kinds))
            .order_by(d.id)
        )
        for row in connection.execute(decided):
            visits.setdefault(row.sighting_id, {})[kinds[row.field]] = row.value
        pages = connection.execute(select(s.id, s.photo_id, s.page))
        return cls(
            {row.id: row.name for row in connection.execute(select(p.id, p.name))},
            {row.id: (row.photo_id, row.page) for row in pages},
            {i: (v.get("site") or "?", v.get("date") or "?") for i, v in visits.items()},
            {row.id: row.sighting_id for row in looks},
        )

    def place(self, table: str, row_id: int, owner: Any, field: str) -> str:
        """The row in words: its visit, field, photo and page, as far as they are known."""
        sighting, photo_id = self._belonging(table, row_id, owner)
        site, day = self.visits.get(sighting, ("", ""))
        known_photo, page = self.pages.get(sighting, (photo_id, None))
        parts = [f"site {site}, {day}" if site else "", str(field or "")]
        if known_photo is not None:
            parts.append(str(self.photos.get(known_photo, f"photo {known_photo}")))
        parts.append("" if page is None else f"page {page}")
        said = ", ".join(filter(None, parts))
        what = f"{NOUNS[table]} (number {row_id})"
        return f"{said}: {what}" if said else what

    def _belonging(self, table: str, row_id: int, owner: Any) -> tuple[int, int | None]:
        """The sighting (-1: none) and the photo that a row belongs to."""
        if table in ("photos", "origins"):
            return -1, row_id if table == "photos" else owner
        if table == "sightings":
            return row_id, owner
        if table == "readings":
            return self.sighting_of_look.get(owner, -1), None
        return owner if table in ("looks", "decisions", "overruled") else -1, None
