"""Reading one photo: from its original to everything that goes into the record."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.pages import FieldReading, PageEvidence, PageReading, packed
from sheet_reader.intake.files import DEFAULT, Bounds, OpenedPicture, Readable
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.numbers import READING
from sheet_reader.reading.field_pictures import context_png, pack_boxes
from sheet_reader.reading.reader import Outcome, Reader, read_with_history
from sheet_reader.reading.rules import DecodingRules
from sheet_reader.reading.site_history import SiteHistory
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.record.history.found import FoundField, FoundPage, PhotoResult
from sheet_reader.record.history.photos import PhotoStatus
from sheet_reader.study.model import Study
from sheet_reader.threads import one_thread
from sheet_reader.vision.findings import BoxView, NoSheet, SheetView

if TYPE_CHECKING:
    from sheet_reader.sheet.book import LayoutBook

NOTHING = NoSheet(because(Code.NOT_FOUND))
SURELY_BLANK = READING.surely_blank
FAINTEST_INK = READING.faintest_ink


def book_of(study: Study) -> LayoutBook:
    """The printed pages of the study, of layouts printed before too."""
    from sheet_reader.sheet.kept_layouts import whole_book

    return whole_book(study)


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
    bounds: Bounds = DEFAULT,
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
    for part in pictures_in(data, name, bounds):
        if isinstance(part, OpenedPicture):
            opened += 1
            if history is None:
                outcome = reader(part, study, book, today)
            else:
                outcome = read_with_history(reader, part, study, book, today, history)
            outcome = outcome or [NOTHING]
            found, missing = _sorted_out(part, rules, [o for o in outcome if not _is_check(o)])
            notes += [o.reason for o in outcome if isinstance(o, NoSheet) and _is_check(o)]
            pages += found
            failures += missing
        else:
            failures.append(because(Code.NO_PICTURE, text=part.reason))
        on_frame()
    reasons = tuple(dict.fromkeys(failures))
    if late := tuple(reason for reason in reasons if reason.code is Code.TOO_SLOW):
        return PhotoResult((), late, "stopped")  # not read yet: all of it is tried again
    status: PhotoStatus = "read" if pages else "no sheet" if opened else "failed"
    return PhotoResult(tuple(pages), reasons, status, notes=tuple(notes))


def _is_check(item: object) -> bool:
    """Whether this is the page that checks the print."""
    return isinstance(item, NoSheet) and item.reason.code is Code.PRINT_CHECK


def _sorted_out(
    picture: OpenedPicture, rules: DecodingRules, outcome: Outcome
) -> tuple[list[FoundPage], list[Reason]]:
    pages: list[FoundPage] = []
    failures: list[Reason] = []
    number = picture.frame + 1 if picture.frame else None
    for item in outcome:
        if isinstance(item, NoSheet):
            failures.append(item.reason.on_page(number))
            continue
        view, reading = item
        if nothing_written(rules.study_of(reading.code.layout), view, reading):
            failures.append(because(Code.NOTHING_WRITTEN).on_page(number))
            continue
        pages.append(_found_page(picture, view, reading, rules))
    return pages, failures


def nothing_written(study: Study, view: SheetView | PageEvidence, reading: PageReading) -> bool:
    """Whether every box of the page can be seen and is surely blank: a blank print, no visit."""
    if not reading.fields or any(box.occluded or box.ink > FAINTEST_INK for box in view.boxes):
        return False
    return all(
        f.value is None
        and (f.status == "empty" or (f.field in study.keys and f.confidence >= SURELY_BLANK))
        for f in reading.fields
    )


def _found_page(
    picture: OpenedPicture, view: SheetView, reading: PageReading, rules: DecodingRules
) -> FoundPage:
    boxes: dict[str, list[BoxView]] = {}
    for box in view.boxes:
        boxes.setdefault(box.cell.field, []).append(box)
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
        fields=tuple(_found_field(picture, f, boxes.get(f.field, [])) for f in reading.fields),
        threshold=reading.threshold,
        evidence=packed(evidence) if evidence else None,
        decoded_under=rules.name_for(reading, evidence.last_day) if evidence else None,
        wording=rules.wording(code.layout),
        site_label=site.label if site else None,
    )


def _found_field(picture: OpenedPicture, field: FieldReading, boxes: list[BoxView]) -> FoundField:
    boxes = sorted(boxes, key=lambda b: b.cell.index)
    corners = tuple(_points(b.corners_px) for b in boxes)
    flagged = field.status == "flagged"
    around = context_png(picture.gray, corners, [b.cell.box_mm for b in boxes]) if flagged else b""
    return FoundField(field, pack_boxes([b.crop for b in boxes]), around, corners)


def _points(corners: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
    points = np.asarray(corners, dtype=float).reshape(-1, 2)
    return tuple((round(float(x), 2), round(float(y), 2)) for x, y in points)
