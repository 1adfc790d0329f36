"""One photo read by itself, without the study's record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from os import PathLike
from typing import Literal

from sheet_reader.decode.pages import FieldReading
from sheet_reader.errors import UsageError, must_be, must_be_day, path_from
from sheet_reader.intake.files import DEFAULT, too_many_bytes
from sheet_reader.numbers import READING
from sheet_reader.reading import photo as photo_reading
from sheet_reader.record.history.found import FoundPage
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import layout_files
from sheet_reader.study import days
from sheet_reader.study.model import Study
from sheet_reader.wording import words

FieldStatus = Literal["accepted", "flagged", "empty"]


@dataclass(frozen=True, slots=True)
class PhotoField:
    """A field of a page as read. Use ``value`` only where ``status`` is "accepted".

    ``name`` is the field's full name (``pinched.egg_clusters``); ``value`` the most probable value
    as text ("14", "0174", "2026-05-20" for a date), None where nothing was read; ``confidence``
    (0..1) its probability. ``status`` is "accepted", "flagged" (a person must look; ``reason``
    says why, in words, "" for the others) or "empty": not recorded, which is not 0.
    """

    name: str
    value: str | None
    confidence: float
    status: FieldStatus
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PhotoPage:
    """A page of a sheet found in a photo; ``fields`` in printed order.

    ``site`` and ``visit_date`` are None where they are doubtful; ``page`` is the page of the
    sheet and ``pdf_page`` that of the PDF or TIFF, both from 1. ``advice`` is a sentence for the
    volunteer on how to take the next photo, or "".
    """

    site: str | None
    visit_date: date | None
    page: int
    pdf_page: int
    fields: tuple[PhotoField, ...]
    advice: str = ""


@dataclass(frozen=True, slots=True)
class PhotoReading:
    """What a photo gave: ``pages``, and ``reasons`` for each part of it that gave none.

    Where ``pages`` is empty there is at least one reason, in a volunteer's words.
    """

    pages: tuple[PhotoPage, ...]
    reasons: tuple[str, ...] = ()


def read_photo(
    path: str | PathLike[str], study: Study, *, today: date | None = None
) -> PhotoReading:
    """Read one photo (JPEG, PNG, TIFF, WebP, PDF; HEIC with the extra ``heic``) and keep nothing.

    The study's record is neither used nor changed: the site's earlier counts and the study's own
    audits, which ``read_batch`` knows, have no say. Visits after ``today`` (by default this
    day) are doubted. There is no time limit. The study's layouts are made ready once and kept for
    further calls. Raises :class:`~sheet_reader.errors.UsageError` where there is no such file, and
    :class:`~sheet_reader.errors.StudyError` where the study does not fit on its paper.
    """
    photo = path_from(path, "a photo")
    must_be(study, Study, "a study, as open_study gives it,")
    must_be_day(today)
    if not photo.is_file():
        raise UsageError("there is no such photo", where=photo)
    try:
        if (size := photo.stat().st_size) > DEFAULT.file_bytes:
            return PhotoReading((), (too_many_bytes(size, DEFAULT.file_bytes),))
        photo.open("rb").close()
    except OSError as error:
        return PhotoReading((), (f"the file cannot be read: {error.strerror or error}",))
    day = days.today(study) if today is None else today
    reader, book = photo_reading.default_reader(), _book(study, _layouts_kept(study))
    result = photo_reading.read_original(photo, study, book, day, reader)
    reasons = tuple(words((reason,)) for reason in result.failures)
    return PhotoReading(tuple(_page(found) for found in result.pages), reasons)


@lru_cache(maxsize=int(READING.books_kept))
def _book(study: Study, layouts: tuple[tuple[str, int, int], ...]) -> LayoutBook:
    """The study's pages, made ready once for a study and the ``layouts`` kept of it."""
    del layouts
    return photo_reading.book_of(study)


def _layouts_kept(study: Study) -> tuple[tuple[str, int, int], ...]:
    """What tells whether a layout was kept or lost since: name, size and time of each text."""
    found = [(path.name, path.stat()) for path in layout_files(study.folder)]
    return tuple((name, stat.st_size, stat.st_mtime_ns) for name, stat in found)


def _page(found: FoundPage) -> PhotoPage:
    return PhotoPage(
        site=found.site,
        visit_date=date.fromisoformat(found.visit_date) if found.visit_date else None,
        page=found.page,
        pdf_page=found.frame + 1,
        fields=tuple(_field(f.reading) for f in found.fields),
        advice=found.advice,
    )


def _field(found: FieldReading) -> PhotoField:
    why = words(found.reasons)
    return PhotoField(found.field, found.value, found.confidence, found.status, why)
