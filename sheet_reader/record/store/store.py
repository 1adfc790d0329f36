"""The record of one study: photos, what was read in them, and what people decided.

>>> with Record.open(study) as record:  # doctest: +SKIP
...     for visit in record.state():
...         print(visit.site, visit.visit_date)
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, select

from sheet_reader.errors import UsageError
from sheet_reader.record.history import (
    history,
    loading,
    meaning_answers,
    photos,
    rows,
    study_edits,
)
from sheet_reader.record.history.history import HistoryEntry
from sheet_reader.record.history.kept_visits import KeptVisits
from sheet_reader.record.history.photos import PhotoLine
from sheet_reader.record.history.rows import AuditedField, Summary
from sheet_reader.record.history.states import TYPED, FieldState, Thresholds, VisitRow, VisitState
from sheet_reader.record.originals import originals
from sheet_reader.record.store import checksums, claims, place, record_file, schema
from sheet_reader.record.store.engine import (
    RECORD_FILE,
    checked_address,
    open_engine,
    our_errors,
    sqlite_url,
    steady_view,
)
from sheet_reader.record.store.engine import URL_VARIABLE as URL_VARIABLE
from sheet_reader.record.store.migrations import migrate, must_be_present
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name

NO_THRESHOLDS = Thresholds()


class Record:
    """An open record; a context manager. All methods see what is in the database now."""

    def __init__(
        self,
        study: Study,
        engine: Engine,
        where: str,
        thresholds: Thresholds,
        view: record_file.ReadOnlyView | None = None,
    ) -> None:
        self.study = study
        self.thresholds = thresholds
        self.view = view
        self._resources = ExitStack()
        self.folder: Path = study.folder
        self.engine = engine
        self.where = where
        self._kept = KeptVisits(study, thresholds)

    @classmethod
    def open(
        cls,
        study: Study,
        url: str | None = None,
        *,
        thresholds: Thresholds = NO_THRESHOLDS,
        for_reading: bool = False,
        of_any_study: bool = False,
    ) -> Record:
        """Open the study's record, made and brought up to date as needed.

        ``url`` is an SQLAlchemy URL; without one the environment variable SHEET_READER_RECORD is
        asked, else ``record.sqlite`` in the study folder is it. With ``for_reading`` a record in a
        folder that may not be written is opened to be looked at, and nothing is written. Fields
        accepted with less than ``thresholds`` are asked about. Raises :class:`StorageError`,
        :class:`RecordError` (also where photos are kept that the record knows nothing of), and
        :class:`UsageError` where it holds another study's pages or values under words that have
        changed since (``of_any_study`` opens it all the same).
        """
        url = url or os.environ.get(URL_VARIABLE) or ""
        file = study.folder / RECORD_FILE
        where = "the record database" if url else str(file)
        with ExitStack() as resources, our_errors(where):
            if url:
                record = cls(study, open_engine(checked_address(url)), where, thresholds)
            else:
                place.must_not_be_blank(study.folder)
                record_file.must_be_a_pair(file)
                if for_reading and file.exists() and not record_file.may_write(file):
                    view = resources.enter_context(record_file.for_reading(file))
                    record = cls(study, view.engine, where, thresholds, view)
                else:
                    record_file.must_be_writable(file)
                    record_file.make_private(study.folder)
                    record = cls(study, open_engine(sqlite_url(file)), where, thresholds)
            resources.callback(record.engine.dispose)
            if url and for_reading:
                must_be_present(record.engine, where)
            else:
                migrate(record.engine)
            known = bool(url) and place.must_match(record.reading, study.folder)
            place.must_know_its_photos(record.reading, study.folder, where)
            if not of_any_study:
                with record.reading() as connection:
                    study_edits.refuse_another_study(connection, study)
                    meaning_answers.must_be_said(connection, study)
                if not for_reading:
                    meaning_answers.label_sites(record.reading, record.writing, study)
            if url and not (known or for_reading):
                place.note_place(record.writing, study.folder, url)
            record._resources = resources.pop_all()
        return record

    def close(self) -> None:
        """Close every connection."""
        self._resources.close()

    def __enter__(self) -> Record:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection with one unchanging view of the record."""
        with our_errors(self.where), self.engine.connect() as plain:
            connection = plain.execution_options(**steady_view(self.engine))
            with connection.begin():
                yield connection
            if self.view is not None:
                self.view.must_be_unchanged()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection inside one writing transaction: all of it is kept, or nothing.

        Every row that is written in it gets its checksum.
        """
        if self.view is not None:
            record_file.must_be_writable(self.view.file)
        with our_errors(self.where), self.engine.connect() as plain:
            connection = plain.execution_options(writes=True)
            with connection.begin(), record_file.marked(connection), checksums.kept(connection):
                yield connection

    def state(self) -> list[VisitState]:
        """Every visit with all its fields as they stand now."""
        return self.look()[0]

    def look(self) -> tuple[list[VisitState], int]:
        """The same with the last decision that it knows of (0 for none). A visit in which nothing
        has changed since the look before is the same object.
        """
        with self.reading() as connection:
            look = self._kept.look(connection)
        return list(look.visits), look.stamp.last

    def state_aside(self) -> list[VisitState]:
        """The visits that the sheets set aside would be."""
        with self.reading() as connection:
            return loading.load_visits(connection, self.study, self.thresholds, aside=True)

    def photo_path(self, photo_id: int) -> originals.File:
        """The kept original of a photo."""
        with self.reading() as connection:
            query = select(schema.photos.c.original).where(schema.photos.c.id == photo_id)
            original = connection.scalar(query)
        if original is None:
            raise UsageError(f"there is no photo {photo_id} in the record")
        if not original:
            raise UsageError(f"{neutral_name(photo_id)} was typed in by hand: it has no picture")
        return originals.at(self.folder, str(original))

    def readings(self) -> list[FieldState]:
        """One row per field and photo, with its status as of now."""
        return rows.reading_rows(self.state())

    def visits(self) -> list[VisitRow]:
        """One row per visit, pages and photos merged."""
        return rows.visit_rows(self.study, self.state())

    def audited(self) -> list[AuditedField]:
        """The accepted fields that audits drew, each once."""
        visits = self.state()
        with self.reading() as connection:
            return rows.audited_fields(connection, visits)

    def history(self, site: str, visit_date: str) -> list[HistoryEntry]:
        """How each value of a visit came to be, field by field, oldest first."""
        visits, aside = self.state(), self.state_aside()
        with self.reading() as connection:
            return history.of_visit(connection, visits, aside, self.study, site, visit_date)

    def photos(self) -> list[PhotoLine]:
        """Every photo and its fate, oldest first."""
        with self.reading() as connection:
            return [line for line in photos.photo_lines(connection) if line.status != TYPED]

    def unread(self) -> int:
        """How many photos are not read yet."""
        with self.reading() as connection:
            return claims.unread(connection)

    def notes(self) -> list[str]:
        """What to know under the study file of today, one line each: see ``study_edits``."""
        visits = self.state()
        with self.reading() as connection:
            return study_edits.notes(connection, self.study, visits)

    def summary(self) -> Summary:
        """How the record stands."""
        visits = self.state()
        return Summary(
            photos=dict(Counter(line.status for line in self.photos())),
            fields=dict(Counter(e.status for v in visits for e in v.fields if e.is_current)),
            pages=sum(len(v.pages) for v in visits),
            visits=len(visits),
            waiting=sum(e.needs_review for v in visits for e in v.fields),
        )
