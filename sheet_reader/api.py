"""The door for Python programs. All names here can be imported from ``sheet_reader`` itself.

>>> from sheet_reader import open_record, open_study
>>> with open_record(open_study("bean_tips")) as record:  # doctest: +SKIP
...     counts = record.counts()
>>> recorded = counts.dropna(subset="value")  # doctest: +SKIP
>>> recorded.groupby(["count", "treatment"])["value"].agg(["size", "mean"])  # doctest: +SKIP

A mistake in the call (a wrong type too) or the study, a file that can't be used and a damaged
record raise a :class:`SheetReaderError` (its kinds stand in :mod:`sheet_reader.errors`); a photo
that can't be read is no error but a reason in the result. Nothing is printed. Reading uses one
thread (others of the process that want to read wait), and leaves the libraries' threads as they
were.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from os import PathLike
from pathlib import Path
from types import NoneType
from typing import TYPE_CHECKING, Self

from sheet_reader.errors import (
    ClosedError,
    SheetReaderError,
    UsageError,
    installation_error,
    must_be,
    must_be_day,
    path_from,
)
from sheet_reader.reading.photo import PhotoField, PhotoPage, PhotoReading, read_photo
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.record.store.place import must_have_record
from sheet_reader.record.store.store import Record
from sheet_reader.study.reader import read_study
from sheet_reader.study.site_list import on_list
from sheet_reader.study.study import Study

if TYPE_CHECKING:
    import pandas as pd

    from sheet_reader.results.facts import Facts
    from sheet_reader.results.frames import Tables
    from sheet_reader.results.update.comparison import CountComparison

__all__ = [
    "BatchSummary",
    "PhotoField",
    "PhotoPage",
    "PhotoReading",
    "SheetReaderError",
    "Study",
    "StudyRecord",
    "compare",
    "open_record",
    "open_study",
    "print_sheets",
    "read_batch",
    "read_photo",
]

PathText = str | PathLike[str]
STUDY = "a study, as open_study gives it,"


def open_study(path: PathText) -> Study:
    """Read and check the study at ``path``: its folder, or the ``study.toml`` in it.

    Raises :class:`~sheet_reader.errors.StudyError` with all mistakes of the study file and the
    sites in ``mistakes``, and :class:`~sheet_reader.errors.StorageError` where it can't be read.
    """
    return read_study(path_from(path, "the study's folder"))


def print_sheets(
    study: Study, sites: str | Iterable[str] = (), *, folder: PathText | None = None
) -> list[Path]:
    """Write the sheets of these sites (numbers as text) as PDF files and give their paths.

    Without ``sites`` it is the blank sheet; ``[site.number for site in study.sites]`` are all. The
    files go into ``folder``, by default ``sheets`` in the study's; a geometry file lies beside
    each. Raises :class:`~sheet_reader.errors.UsageError` for a site that is not on the site list,
    before any file is written, :class:`~sheet_reader.errors.StudyError` where the study does not
    fit on its paper, and :class:`~sheet_reader.errors.StorageError`.
    """
    from sheet_reader.sheet.kept_layouts import keep_labels, keep_layout
    from sheet_reader.sheet.page import BLANK
    from sheet_reader.sheet.sheet_files import write_sheet

    must_be(study, Study, STUDY)
    must_be(sites, Iterable, "site numbers as texts")
    wanted = [sites] if isinstance(sites, str) else list(sites)
    for number in wanted:
        must_be(number, str, "a site number as text, such as '0174',")
    target = study.folder / "sheets" if folder is None else path_from(folder, "a folder")
    sheets = [on_list(study, number).number for number in wanted] or [BLANK]
    keep_layout(study)
    keep_labels(study, sheets)
    return [write_sheet(study, sheet, target)[0] for sheet in sheets]


def read_batch(
    study: Study,
    photos: PathText | Iterable[PathText] | None = None,
    *,
    mailbox: str | None = None,
    again: bool = False,
    jobs: int = 0,
    today: date | None = None,
    on_progress: Callable[[int, int, str], None] = lambda _done, _total, _name: None,
) -> BatchSummary:
    """Read photos into the study's record, as ``sheet-reader read`` does.

    ``photos`` are files and folders, by default the study's ``inbox``; ``mailbox`` is
    ``imaps://user@host/folder``; with ``again`` known photos are read once more. ``jobs`` 0 reads
    in this process. A larger number starts that many others, in which each picture has a time
    limit; a script must then keep its work under ``if __name__ == "__main__":``, or each of them
    would run it again. ``on_progress`` is told photos done, photos in all, and a name.

    A photo that can't be read is a line in the summary's ``lines``. Raises
    :class:`~sheet_reader.errors.UsageError` where there are no such photos,
    :class:`~sheet_reader.errors.StorageError`, :class:`~sheet_reader.errors.RecordError`, and
    :class:`SheetReaderError` where all photos fail alike, since the installation is at fault.
    """
    from sheet_reader.intake.imap import parse_mailbox
    from sheet_reader.reading import batch

    must_be(study, Study, STUDY)
    must_be(jobs, int, "a whole number of jobs")
    must_be(mailbox, (str, NoneType), "a mailbox as text")
    must_be_day(today)
    must_be(on_progress, Callable, "a function to tell of progress")  # type: ignore[arg-type]
    if jobs < 0:
        raise UsageError("jobs must be 0 or more")
    paths = _paths(photos)
    for path in paths or ():
        if not path.exists():
            raise UsageError("there is no such photo or folder", where=path)
    source = None if mailbox is None else parse_mailbox(mailbox)
    summary = batch.read_batch(
        study, paths, mailbox=source, on_progress=on_progress, today=today, again=again, jobs=jobs
    )
    if summary.fault:
        raise installation_error(summary.fault)
    return summary


def _paths(photos: PathText | Iterable[PathText] | None) -> list[Path] | None:
    if photos is None:
        return None
    must_be(photos, (PathLike, Iterable), "a photo or several")
    several = [photos] if isinstance(photos, str | PathLike) else photos
    return [path_from(photo, "a photo") for photo in several]


def open_record(study: Study) -> StudyRecord:
    """Open the study's record to look at it; best in a ``with`` statement.

    Raises :class:`~sheet_reader.errors.UsageError` where the study has none yet, or where it holds
    another study's pages, and :class:`~sheet_reader.errors.RecordError` where it is damaged or
    gone.
    """
    must_be(study, Study, STUDY)
    must_have_record(study.folder, "read some photos first")
    from sheet_reader.reading.opening import open_record as opened

    return StudyRecord(study, opened(study, for_reading=True))


class StudyRecord:
    """The values of a study as pandas data frames; each call sees the record as it is then.

    In all of them text and site numbers are ``string`` (``0174`` stays ``0174``), dates
    ``datetime64[ns]`` and whole numbers ``Int64``. What is not recorded, can't be read or waits
    for a person is missing (``pd.NA``, ``pd.NaT``), never 0. Photos bear neutral names
    (``photo-0027``), and no column holds a person's name or address.
    """

    def __init__(self, study: Study, record: Record) -> None:
        self.study = study
        self._record = record
        self._closed = False

    def rows(self) -> pd.DataFrame:
        """One line per visit, as in rows.csv: a column for each field of the study by its full
        name, then ``waiting`` (how many of the visit's fields wait for a person), ``site_name``,
        ``pages_in`` and ``pages_of`` (the sheet's pages that came in, and all of them),
        ``corrected`` (how many fields a person corrected), ``photo``, ``remarks``, ``visit_id``
        (stays the same whatever is put right) and ``modified`` (when a value or its place last
        changed).

        The site's column, ``site_name``, ``photo``, ``remarks`` and ``visit_id`` are ``string``,
        the date's is ``datetime64[ns]``, ``modified`` is ``datetime64[ms, UTC]``, all others are
        ``Int64``.
        """
        return self._tables().rows

    def readings(self) -> pd.DataFrame:
        """One line per field and photo, as in readings.csv, with its status and the reason.

        ``pdf_page`` and ``page`` are ``Int64``, ``visit_date`` is ``datetime64[ns]``,
        ``modified`` is ``datetime64[ms, UTC]``, ``confidence`` and
        ``runner_up_confidence`` (0..1) are ``Float64``; all else is ``string``,
        also ``value`` and ``runner_up``, which may be a count, a site number or a date. A flagged
        field shows here what was read; whether it is right is not known yet. Where a person gave
        the value, ``read_as`` says what had been read, and there is no ``confidence``.
        """
        return self._tables().readings

    def counts(self) -> pd.DataFrame:
        """One line per site, visit, plot and count: the long form, for models and plots.

        The columns are ``site``, ``site_name``, ``visit_date`` (``datetime64[ns]``), ``plot``,
        ``treatment``, ``count``, ``value`` (``Int64``), ``unit``, ``status``, ``decided``
        (``boolean``: by a person), ``effort`` (``Float64``), ``photo``, ``visit_id`` and
        ``modified`` (``datetime64[ms, UTC]``), else ``string``.
        ``value`` is missing unless ``status`` is accepted, confirmed or corrected, ``effort`` where
        the study states none. Visits whose site or date waits have no line here, nor have counts
        on a page that has not arrived; :meth:`rows` shows both.
        """
        return self._tables().counts

    def _tables(self) -> Tables:
        from sheet_reader.results.frames import tables_of

        return tables_of(self.study, self._facts())

    def _facts(self) -> Facts:
        from sheet_reader.results.facts import facts_of

        self._must_be_open()
        return facts_of(self._record)

    def _must_be_open(self) -> None:
        if self._closed:
            raise ClosedError("this record is closed", remedy="open it again: open_record(study)")

    def close(self) -> None:
        """Close the record; every later call raises :class:`~sheet_reader.errors.ClosedError`."""
        self._closed = True
        self._record.close()

    def __enter__(self) -> Self:
        self._must_be_open()
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()


def compare(
    record: StudyRecord, count: str = "", *, until: date | None = None
) -> CountComparison:
    """Compare a count between the two plots that ``[update]`` names, as the updates do.

    ``count`` is its name, by default that of ``[update]``; visits up to ``until`` are used, by
    default all. The result is a
    :class:`~sheet_reader.results.update.comparison.CountComparison`: in its data frames
    ``summary`` has a line per method (the ratio at a typical site with the interval of the updates
    and that of a single look, and the pooled ratio), ``sites`` a line per site (sums, effort,
    densities in counts per unit of effort, their ratio) and ``visits`` a line per site and day;
    ``left_out`` counts by reason the values that take no part, such as those that wait for a
    person. A look from Python is no look of the updates and widens nothing.

    Raises :class:`~sheet_reader.errors.UsageError` for a count that is not there, the effort
    itself, and a study that names no two plots to compare. Few or no visits are no error: what
    can't be worked out is missing, and the ``note`` says why.
    """
    from sheet_reader.results.update.comparison import compare_facts
    from sheet_reader.results.update.kept import made_before

    must_be(record, StudyRecord, "a record, as open_record gives it,")
    must_be(count, str, "the name of a count as text")
    must_be_day(until)
    made = made_before(record.study.folder)
    return compare_facts(record.study, record._facts(), made, count, until)
