"""Rows that are not what their checksums say, named by visit and field."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, select

from sheet_reader.record.history.loading import UNDO
from sheet_reader.record.store import checksums, schema
from sheet_reader.record.store.checksums import OWNERS
from sheet_reader.study.model import Study

NOUNS = {
    "photos": "the photo",
    "origins": "a note of where it came from",
    "mail_messages": "a note of a mail",
    "page_instances": "a page seen",
    "reading_runs": "a reading of the page",
    "readings": "the value read",
    "decisions": "a decision",
    "overruled": "a value that a decision overruled",
    "sheet_decisions": "a decision about the sheet",
    "drafts": "a note of what a letter asked",
    "remarks": "a remark on a visit",
    "meanings": "an answer about changed words",
    "wordings": "the words on a sheet",
    "site_labels": "what a site was called",
    "blind_answers": "what one of two people made of a field",
    "about": "a note on the record itself",
}


def checksum_faults(connection: Connection, study: Study) -> Iterator[str]:
    """One line for each row that was changed, added or removed by anything but this program."""
    if connection.dialect.name == "sqlite" and checksums.noted_schema(connection) != [
        checksums.schema_digest(connection)
    ]:
        yield "the schema of the record was changed by another program, or is damaged"
    names = _Names.of(connection, study)
    for table in checksums.CHECKED:
        yield from _table_faults(connection, table, names)
    known = {table.name for table in checksums.CHECKED}
    for name in connection.execute(select(schema.row_checksums.c.table_name).distinct()).scalars():
        if name not in known:
            yield f"the record holds checksums of an unknown table {name}"


def _table_faults(connection: Connection, table: Table, names: _Names) -> Iterator[str]:
    s = schema.row_checksums.c
    query = select(s.row_id, s.owner, s.field, s.digest).where(s.table_name == table.name)
    noted = {row.row_id: row for row in connection.execute(query)}
    owners = _owners(connection, table.name)
    for row_id, digest in checksums.digests_of(connection, table):
        known = noted.pop(row_id, None)
        owner, field = owners.get(row_id, (None, ""))
        if known is None:
            what = "was added by another program"
        elif (known.digest, known.owner, known.field) == (digest, owner, field):
            continue
        elif known.digest in (checksums.REMOVED, checksums.REUSED, checksums.GONE):
            noted[row_id] = known
            continue
        elif known.digest in ("", checksums.EDITED):
            what = "was added or changed by another program"
        else:
            what = "was changed by another program, or is damaged"
        yield f"{names.place(table.name, row_id, owner, field)} {what}"
    for row_id, known in noted.items():
        if table is schema.photos:
            yield f"photo {row_id} was removed by another program"
            continue
        place = names.place(table.name, row_id, known.owner, known.field)
        yield f"{place} was removed by another program"


def _owners(connection: Connection, name: str) -> dict[int, tuple[Any, str]]:
    owner, field = (part.removeprefix("NEW.") for part in OWNERS[name])
    query = f"SELECT id, {owner}, {field} FROM {name}"
    return {row[0]: (row[1], row[2]) for row in connection.exec_driver_sql(query)}


@dataclass(frozen=True, slots=True)
class _Names:
    """What people know the rows by: photos by id; by page instance its photo, page, site and
    date."""

    photos: Mapping[int, str]
    pages: Mapping[int, tuple[int | None, int | None]]
    visits: Mapping[int, tuple[str, str]]
    instance_of_run: Mapping[int, int]

    @classmethod
    def of(cls, connection: Connection, study: Study) -> _Names:
        """Read from the record, damaged as it may be."""
        p, s, k, d = (
            schema.photos.c,
            schema.page_instances.c,
            schema.reading_runs.c,
            schema.decisions.c,
        )
        runs = connection.execute(
            select(k.id, k.page_instance_id, k.site, k.visit_date).order_by(k.id)
        ).all()
        visits = {row.page_instance_id: {"site": row.site, "date": row.visit_date} for row in runs}
        kinds = {f.name: f.kind for f in study.fields if f.kind in ("site", "date")}
        undone = select(d.undoes).where(d.undoes.is_not(None))
        decided = (
            select(d.page_instance_id, d.field, d.value)
            .where(d.kind != UNDO, d.id.not_in(undone), d.field.in_(kinds))
            .order_by(d.id)
        )
        for row in connection.execute(decided):
            visits.setdefault(row.page_instance_id, {})[kinds[row.field]] = row.value
        pages = connection.execute(select(s.id, s.photo_id, s.page))
        return cls(
            {row.id: row.name for row in connection.execute(select(p.id, p.name))},
            {row.id: (row.photo_id, row.page) for row in pages},
            {i: (v.get("site") or "?", v.get("date") or "?") for i, v in visits.items()},
            {row.id: row.page_instance_id for row in runs},
        )

    def place(self, table: str, row_id: int, owner: Any, field: str) -> str:
        """The row in words: its visit, field, photo and page, as far as they are known."""
        instance, photo_id = self._belonging(table, row_id, owner)
        site, day = self.visits.get(instance, ("", ""))
        known_photo, page = self.pages.get(instance, (photo_id, None))
        parts = [f"site {site}, {day}" if site else "", str(field or "")]
        if known_photo is not None:
            parts.append(str(self.photos.get(known_photo, f"photo {known_photo}")))
        parts.append("" if page is None else f"page {page}")
        said = ", ".join(filter(None, parts))
        what = f"{NOUNS[table]} (number {row_id})"
        return f"{said}: {what}" if said else what

    def _belonging(self, table: str, row_id: int, owner: Any) -> tuple[int, int | None]:
        """The page instance (-1: none) and the photo that a row belongs to."""
        if table in ("photos", "origins", "sheet_decisions"):
            return -1, row_id if table == "photos" else owner
        if table == "page_instances":
            return row_id, owner
        if table == "readings":
            return self.instance_of_run.get(owner, -1), None
        of_pages = ("reading_runs", "decisions", "overruled", "remarks", "blind_answers")
        return owner if owner is not None and table in of_pages else -1, None
