"""Reading one photo: from its file to everything that goes into the record; and a photo read by
itself, without a record.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from os import PathLike
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.pages import FieldReading, PageEvidence, PageReading, packed
from sheet_reader.errors import UsageError, must_be, must_be_day, path_from
from sheet_reader.intake.files import DEFAULT, OpenedPicture, Readable, too_many_bytes
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.numbers import READING
from sheet_reader.reading.field_pictures import context_png, pack_boxes
from sheet_reader.reading.reader import Reader, read_with_history
from sheet_reader.reading.rules import DecodingRules
from sheet_reader.reading.site_history import SiteHistory
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.record.history.found import FoundField, FoundPage, PhotoResult
from sheet_reader.record.history.photos import PhotoStatus
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import layout_files, whole_book
from sheet_reader.study import days
from sheet_reader.study.study import Study
from sheet_reader.threads import one_thread
from sheet_reader.vision.findings import BoxView, NoSheet, SheetView
from sheet_reader.wording import words

NOTHING = NoSheet(because(Code.NOT_FOUND))


def default_reader() -> Reader:
    """The reader of the package, with the threshold of the shipped data."""
    from sheet_reader.reading.picture import read_picture

    return read_picture


def read_original(
    path: Readable,
    study: Study,
    book: LayoutBook,
    today: date,
    reader: Reader,
    *,
    history: SiteHistory | None = None,
    on_frame: Callable[[], None] = lambda: None,
) -> PhotoResult:
    """Read every picture in the original at ``path``, as :func:`read_bytes` does."""
    data, name = path.read_bytes(), path.name
    return read_bytes(data, name, study, book, today, reader, history=history, on_frame=on_frame)


@one_thread()
def read_bytes(
    data: bytes,
    name: str,
    study: Study,
    book: LayoutBook,
    today: date,
    reader: Reader,
    *,
    history: SiteHistory | None = None,
    on_frame: Callable[[], None] = lambda: None,
) -> PhotoResult:
    """Read every picture in ``data``, a file called ``name``; ``on_frame`` is called after each
    one. A pure function of its arguments, wherever it runs.

    Where ``history`` knows counts of the site from before the sheet's date, fields that they speak
    against are flagged.
    """
    pages: list[FoundPage] = []
    failures: list[Reason] = []
    notes: list[Reason] = []
    opened, rules = 0, DecodingRules.of(study, history, book)
    for part in pictures_in(data, name):
        if not isinstance(part, OpenedPicture):
            failures.append(because(Code.NO_PICTURE, text=part.reason))
            on_frame()
            continue
        opened += 1
        if history is None:
            outcome = reader(part, study, book, today)
        else:
            outcome = read_with_history(reader, part, study, book, today, history)
        number = part.frame + 1 if part.frame else None
        for item in outcome or [NOTHING]:
            if isinstance(item, NoSheet) and item.reason.code is Code.PRINT_CHECK:
                notes.append(item.reason)
            elif isinstance(item, NoSheet):
                failures.append(item.reason.on_page(number))
            elif nothing_written(rules.study_of(item[1].code.layout), *item):
                failures.append(because(Code.NOTHING_WRITTEN).on_page(number))
            else:
                pages.append(_found_page(part, *item, rules))
        on_frame()
    reasons = tuple(dict.fromkeys(failures))
    if late := tuple(reason for reason in reasons if reason.code is Code.TOO_SLOW):
        return PhotoResult((), late, "stopped")  # not read yet: all of it is tried again
    status: PhotoStatus = "read" if pages else "no sheet" if opened else "failed"
    return PhotoResult(tuple(pages), reasons, status, notes=tuple(notes))


def nothing_written(study: Study, view: SheetView | PageEvidence, reading: PageReading) -> bool:
    """Whether every box of the page can be seen and is surely blank: a blank print, no visit."""
    sure, faintest = READING.surely_blank, READING.faintest_ink
    if not reading.fields or any(box.occluded or box.ink > faintest for box in view.boxes):
        return False
    return all(
        f.value is None
        and (f.status == "empty" or (f.field in study.keys and f.confidence >= sure))
        for f in reading.fields
    )


def _found_page(
    picture: OpenedPicture, view: SheetView, reading: PageReading, rules: DecodingRules
) -> FoundPage:
    boxes: dict[str, list[BoxView]] = defaultdict(list)
    for box in sorted(view.boxes, key=lambda box: box.cell.index):
        boxes[box.cell.field].append(box)
    quality, code, evidence = view.quality, reading.code, reading.evidence
    site = rules.study.site(reading.site) if reading.site else None
    return FoundPage(
        frame=picture.frame,
        study=code.study,
        layout=code.layout,
        sheet=code.sheet,
        page=code.page,
        identified_by=view.identified_by,
        px_per_mm=float(quality.px_per_mm),
        blur_mm=float(quality.blur_mm),
        contrast=float(quality.contrast),
        hidden_boxes=int(quality.occluded_boxes),
        glare_share=float(quality.glare_share),
        advice=reading.advice or quality.advice,
        site=reading.site,
        visit_date=reading.visit_date,
        outline=_points(view.outline_px),
        fields=tuple(_found_field(picture, f, boxes[f.field]) for f in reading.fields),
        threshold=reading.threshold,
        evidence=packed(evidence) if evidence else None,
        decoded_under=rules.name_for(reading, evidence.last_day) if evidence else None,
        wording=rules.wording(code.layout),
        site_label=site.label if site else None,
    )


def _found_field(picture: OpenedPicture, field: FieldReading, boxes: list[BoxView]) -> FoundField:
    corners = tuple(_points(b.corners_px) for b in boxes)
    flagged = field.status == "flagged"
    around = context_png(picture.gray, corners, [b.cell.box_mm for b in boxes]) if flagged else b""
    return FoundField(field, pack_boxes([b.crop for b in boxes]), around, corners)


def _points(corners: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
    points = np.asarray(corners, dtype=float).reshape(-1, 2)
    return tuple((round(float(x), 2), round(float(y), 2)) for x, y in points)


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
    status: Literal["accepted", "flagged", "empty"]
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
    reader, book = default_reader(), _book(study, _layouts_kept(study))
    result = read_original(photo, study, book, day, reader)
    reasons = tuple(words((reason,)) for reason in result.failures)
    return PhotoReading(tuple(_page(found) for found in result.pages), reasons)


@lru_cache(maxsize=int(READING.books_kept))
def _book(study: Study, layouts: tuple[tuple[str, int, int], ...]) -> LayoutBook:
    """The study's pages, made ready once for a study and the ``layouts`` kept of it."""
    del layouts
    return whole_book(study)


def _layouts_kept(study: Study) -> tuple[tuple[str, int, int], ...]:
    """What tells whether a layout was kept or lost since: name, size and time of each text."""
    found = [(path.name, path.stat()) for path in layout_files(study.folder)]
    return tuple((name, stat.st_size, stat.st_mtime_ns) for name, stat in found)


def _page(found: FoundPage) -> PhotoPage:
    read = [field.reading for field in found.fields]
    return PhotoPage(
        site=found.site,
        visit_date=date.fromisoformat(found.visit_date) if found.visit_date else None,
        page=found.page,
        pdf_page=found.frame + 1,
        fields=tuple(
            PhotoField(f.field, f.value, f.confidence, f.status, words(f.reasons)) for f in read
        ),
        advice=found.advice,
    )
