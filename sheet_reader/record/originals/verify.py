"""Is everything there, and is it what it was?

:func:`verify` looks at all of it: hashes, references, values and layouts. :func:`must_be_sound` is
asked before anything is handed out, so it is cheap: the structure of the database and the checksums
of its rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, select

from sheet_reader.errors import RecordError
from sheet_reader.record.history.sheets import stands
from sheet_reader.record.history.states import TYPED, Thresholds
from sheet_reader.record.originals import originals
from sheet_reader.record.store import checksums, schema
from sheet_reader.record.store.migrations import MIGRATIONS, version_of
from sheet_reader.record.store.store import NO_THRESHOLDS, Record
from sheet_reader.sheet.kept_layouts import kept_layouts, whole_book
from sheet_reader.study.study import Study

SCHEMA_CHANGED = "the schema of the record was changed by another program, or is damaged"
ROW_CHANGED = "was changed by another program, or is damaged"


@dataclass(frozen=True, slots=True)
class Verdict:
    """``problems`` are faults, one line each; ``notes`` are worth knowing and harmless."""

    photos: int
    pages: int
    decisions: int
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong."""
        return not self.problems


def verify(study: Study, thresholds: Thresholds = NO_THRESHOLDS) -> Verdict:
    """Check the database itself, every row against its checksum, every reference, every original
    against its hash, and the layout.

    ``thresholds`` as in :meth:`Record.open`. Raises :class:`RecordError` where the record is too
    damaged to be opened.
    """
    opened = Record.open(study, thresholds=thresholds, for_reading=True, of_any_study=True)
    with opened as record, record.reading() as connection:
        checksums.text_as_bytes(connection)
        problems = [
            *_database(connection),
            *checksum_faults(connection, study),
            *_impossible(connection),
            *originals.original_faults(connection, study.folder),
            *kept_layouts(study).problems,
        ]
        notes = [
            *_strays(connection, study.folder),
            *_layouts(connection, study),
            *(() if problems else record.notes()),
        ]
        photos, pages, decisions = (
            len(connection.execute(select(table.c.id)).all())
            for table in (schema.photos, schema.page_instances, schema.decisions)
        )
    return Verdict(photos, pages, decisions, _lines(problems), _lines(notes))


def _lines(said: list[str]) -> tuple[str, ...]:
    """Each as one line that any terminal can show, whatever stands in a damaged record."""
    shown = (line.encode("utf-8", "backslashreplace").decode() for line in said)
    return tuple("".join(c if c.isprintable() else ascii(c)[1:-1] for c in line) for line in shown)


def _database(connection: Connection) -> Iterator[str]:
    if version_of(connection) != MIGRATIONS[-1].version:
        yield "the record's schema is not the present one"
    if connection.dialect.name != "sqlite":
        return
    for (line,) in connection.exec_driver_sql("PRAGMA integrity_check(20)"):
        if line != "ok":
            yield f"the database file is damaged: {line}"
    for table, row, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield f"{table} {row} refers to a line in {parent} that is not there"


def _impossible(connection: Connection) -> Iterator[str]:
    """References that no foreign key can check, and values that no reader and no person can have
    given.
    """
    p, s, k = schema.photos.c, schema.page_instances.c, schema.reading_runs.c
    r, d = schema.readings.c, schema.decisions.c
    astray = (
        select(d.id)
        .join_from(schema.decisions, schema.readings, r.id == d.reading_id)
        .join(schema.reading_runs, k.id == r.run_id)
        .where((k.page_instance_id != d.page_instance_id) | (r.field != d.field))
    )
    queries = {
        "{} counts as read, but no page of it is in the record":
            select(p.name).where(p.status == "read", p.id.not_in(select(s.photo_id))),
        "page {} has no reading": select(s.id).where(s.id.not_in(select(k.page_instance_id))),
        "decision {} is about another field than its reading": astray,
        "reading {} ({}) has an impossible confidence":
            select(r.id, r.field).where((r.confidence < 0) | (r.confidence > 1)),
        "reading {} ({}) has an unknown status":
            select(r.id, r.field).where(r.status.not_in(("accepted", "flagged", "empty"))),
    }  # fmt: skip
    for line, query in queries.items():
        for row in connection.execute(query):
            yield line.format(*row)


def _strays(connection: Connection, folder: Path) -> Iterator[str]:
    if stray := originals.strays(connection, folder):
        yield (
            f"{len(stray)} kept originals are not in the record yet "
            "(a run was interrupted; reading their files again notes them)"
        )


def _layouts(connection: Connection, study: Study) -> Iterator[str]:
    book, s = whole_book(study), schema.page_instances.c
    own = select(s.layout).where(s.study == study.key, s.layout != TYPED).distinct()
    for layout in connection.scalars(own):
        if layout != book.version:
            kept = "" if layout in book.versions else ", and no study file of that layout is kept"
            yield (
                f"some pages were printed with layout {layout}; the study prints {book.version} "
                f"now{kept}"
            )


def must_be_sound(record: Record) -> None:
    """Raises :class:`RecordError` for a record that is damaged or that another program changed."""
    with record.reading() as connection:
        fault = first_fault(connection, record.study)
    if fault:
        raise RecordError(
            f"the record is damaged, so nothing is handed out: {fault}", where=record.where,
            remedy="verify lists all faults; restore puts a backup in its place",
        )  # fmt: skip


def first_fault(connection: Connection, study: Study | None = None) -> str:
    """The first thing that is wrong, "" for none; by visit and field where there is a ``study``."""
    if connection.dialect.name == "sqlite":
        line = str(connection.exec_driver_sql("PRAGMA quick_check(1)").scalar())
        if line != "ok":
            return f"the database file is damaged: {' '.join(line.split())}"
    if not checksums.schema_is_known(connection):
        return SCHEMA_CHANGED
    for table in checksums.CHECKED:
        noted = {row_id: row.digest for row_id, row in _noted(connection, table).items()}
        if noted != dict(checksums.digests_of(connection, table)):
            lines = checksum_faults(connection, study) if study is not None else iter(())
            return next(lines, f"{checksums.TABLES[table.name].noun} {ROW_CHANGED}")
    return ""


def _noted(connection: Connection, table: Table) -> dict[int, Any]:
    """The checksum, owner and field noted for each row of a table, by its id."""
    s = schema.row_checksums.c
    noted = select(s.row_id, s.owner, s.field, s.digest).where(s.table_name == table.name)
    return {row.row_id: row for row in connection.execute(noted)}


def checksum_faults(connection: Connection, study: Study) -> Iterator[str]:
    """One line for each row that was changed, added or removed by anything but this program."""
    if not checksums.schema_is_known(connection):
        yield SCHEMA_CHANGED
    names = _Names.of(connection, study)
    for table in checksums.CHECKED:
        yield from _table_faults(connection, table, names)
    known = {table.name for table in checksums.CHECKED}
    for name in connection.scalars(select(schema.row_checksums.c.table_name).distinct()):
        if name not in known:
            yield f"the record holds checksums of an unknown table {name}"


def _table_faults(connection: Connection, table: Table, names: _Names) -> Iterator[str]:
    noted = _noted(connection, table)
    _, *columns = (part.removeprefix("NEW.") for part in checksums.TABLES[table.name])
    query = f"SELECT id, {', '.join(columns)} FROM {table.name}"
    owners = {number: of for number, *of in connection.exec_driver_sql(query)}
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
            what = ROW_CHANGED
        yield f"{names.place(table.name, row_id, owner, field)} {what}"
    for row_id, known in noted.items():
        place = f"photo {row_id}"
        if table is not schema.photos:
            place = names.place(table.name, row_id, known.owner, known.field)
        yield f"{place} was removed by another program"


@dataclass(frozen=True, slots=True)
class _Names:
    """What people know the rows by: photos by id; by page instance its photo, page, site and
    date.
    """

    photos: Mapping[int, str]
    pages: Mapping[int, tuple[int | None, int | None]]
    visits: Mapping[int, tuple[str, str]]
    instance_of_run: Mapping[int, int]

    @classmethod
    def of(cls, connection: Connection, study: Study) -> _Names:
        """Read from the record, damaged as it may be."""
        p, s = schema.photos.c, schema.page_instances.c
        k, d = schema.reading_runs.c, schema.decisions.c
        seen = select(k.id, k.page_instance_id, k.site, k.visit_date).order_by(k.id)
        runs = connection.execute(seen).all()
        visits = {row.page_instance_id: {"site": row.site, "date": row.visit_date} for row in runs}
        kinds = dict(zip(study.keys, ("site", "date"), strict=True))
        decided = (
            select(d.page_instance_id, d.field, d.value)
            .where(stands(schema.decisions), d.field.in_(kinds))
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
        what = f"{checksums.TABLES[table].noun} (number {row_id})"
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
