"""Is everything there, and is it what it was? Hashes, references and layout."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, select

from sheet_reader.record.history.states import TYPED, Thresholds
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.original_faults import original_faults
from sheet_reader.record.store import schema
from sheet_reader.record.store.checksum_faults import checksum_faults
from sheet_reader.record.store.checksums import text_as_bytes
from sheet_reader.record.store.migrations import MIGRATIONS, version_of
from sheet_reader.record.store.store import NO_THRESHOLDS, Record
from sheet_reader.sheet.kept_layouts import kept_layouts
from sheet_reader.study.model import Study


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


def verify(study: Study, url: str | None = None, thresholds: Thresholds = NO_THRESHOLDS) -> Verdict:
    """Check the database itself, every row against its checksum, every reference, every original
    against its hash, and the layout.

    ``thresholds`` as in :meth:`Record.open`. Raises :class:`RecordError` where the record is too
    damaged to be opened.
    """
    opened = Record.open(study, url, thresholds=thresholds, for_reading=True, of_any_study=True)
    with opened as record, record.reading() as connection:
        text_as_bytes(connection)
        problems = [
            *_database(connection),
            *checksum_faults(connection, study),
            *_references(connection),
            *_values(connection),
            *original_faults(connection, study.folder),
            *kept_layouts(study).problems,
        ]
        notes = [
            *_strays(connection, study.folder),
            *_layouts(connection, study),
            *(() if problems else record.notes()),
        ]
        counts = [
            len(connection.execute(select(table.c.id)).all())
            for table in (schema.photos, schema.page_instances, schema.decisions)
        ]
    return Verdict(counts[0], counts[1], counts[2], _lines(problems), _lines(notes))


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


def _references(connection: Connection) -> Iterator[str]:
    """References that no foreign key can check."""
    p, s, k = schema.photos.c, schema.page_instances.c, schema.reading_runs.c
    read_without_page = select(p.name).where(p.status == "read", p.id.not_in(select(s.photo_id)))
    for (name,) in connection.execute(read_without_page):
        yield f"{name} counts as read, but no page of it is in the record"
    never_looked_at = select(s.id).where(s.id.not_in(select(k.page_instance_id)))
    for (number,) in connection.execute(never_looked_at):
        yield f"page {number} has no reading"
    r, d = schema.readings.c, schema.decisions.c
    astray = (
        select(d.id)
        .join_from(schema.decisions, schema.readings, r.id == d.reading_id)
        .join(schema.reading_runs, k.id == r.run_id)
        .where((k.page_instance_id != d.page_instance_id) | (r.field != d.field))
    )
    for (number,) in connection.execute(astray):
        yield f"decision {number} is about another field than its reading"


def _values(connection: Connection) -> Iterator[str]:
    """Values that no reader and no person can have given."""
    r = schema.readings.c
    odd = select(r.id, r.field).where((r.confidence < 0) | (r.confidence > 1))
    for row in connection.execute(odd):
        yield f"reading {row.id} ({row.field}) has an impossible confidence"
    statuses = select(r.id, r.field).where(r.status.not_in(("accepted", "flagged", "empty")))
    for row in connection.execute(statuses):
        yield f"reading {row.id} ({row.field}) has an unknown status"


def _strays(connection: Connection, folder: Path) -> Iterator[str]:
    known = {row.original for row in connection.execute(select(schema.photos.c.original))}
    stray = [place for place in originals.all_kept(folder) if place not in known]
    if stray:
        yield (
            f"{len(stray)} kept originals are not in the record yet "
            "(a run was interrupted; reading their files again notes them)"
        )


def _layouts(connection: Connection, study: Study) -> Iterator[str]:
    from sheet_reader.sheet.kept_layouts import whole_book

    book = whole_book(study)
    now = book.version
    s = schema.page_instances.c
    own = select(s.layout).where(s.study == study.key, s.layout != TYPED).distinct()
    for layout in connection.scalars(own):
        if layout != now:
            kept = "" if layout in book.versions else ", and no study file of that layout is kept"
            yield f"some pages were printed with layout {layout}; the study prints {now} now{kept}"
