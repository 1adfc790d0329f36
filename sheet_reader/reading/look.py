"""Looking at one photo: from its original to everything that goes into the record."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.types import FieldReading, PageReading
from sheet_reader.intake.bounds import DEFAULT, Bounds
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.intake.types import Picture
from sheet_reader.reading.read_with_history import read_twice
from sheet_reader.reading.site_history import Earlier
from sheet_reader.record.images import context_png, pack_boxes
from sheet_reader.record.model import FoundField, FoundPage, PhotoResult, PhotoStatus
from sheet_reader.study.model import Study
from sheet_reader.vision.types import PRINT_CHECK, BoxView, NoSheet, SheetView

if TYPE_CHECKING:
    from sheet_reader.sheet.book import LayoutBook

Outcome = Sequence[tuple[SheetView, PageReading] | NoSheet]
Reader = Callable[[Picture, Study, "LayoutBook", date], Outcome]
"""Reads a picture; a function at the top level of a module, so that another process finds it."""

NOTHING = "no sheet was found in the picture"
BLANK_SHEET = "blank sheet, nothing written"
SURELY_BLANK = 0.9
"""From this probability on a site or date that is asked about anyway counts as left empty (a choice
of this house; counts are empty only by the study's own threshold)."""
FAINTEST_INK = 0.01
"""A box of whose inside a larger share is dark may hold something."""


def book_of(study: Study) -> LayoutBook:
    """The printed pages of the study."""
    from sheet_reader.sheet.book import LayoutBook

    return LayoutBook(study)


def default_reader() -> Reader:
    """The reader of the decode room."""
    from sheet_reader.reading.picture import read_picture

    return read_picture


def look_at(
    path: Path,
    study: Study,
    book: LayoutBook,
    today: date,
    reader: Reader,
    *,
    earlier: Earlier | None = None,
    bounds: Bounds = DEFAULT,
    on_frame: Callable[[], None] = lambda: None,
) -> PhotoResult:
    """Read every picture in the original at ``path``; ``on_frame`` is called after each one.

    Where ``earlier`` knows counts of the site from before the sheet's date, fields that they speak
    against are flagged.
    """
    pages: list[FoundPage] = []
    failures: list[str] = []
    notes: list[str] = []
    opened = 0
    for part in pictures_in(path.read_bytes(), path.name, bounds):
        if isinstance(part, Picture):
            opened += 1
            call = (part, study, book, today)
            outcome = reader(*call) if earlier is None else read_twice(reader, call, earlier)
            outcome = outcome or [NoSheet("no markers", NOTHING)]
            found, missing = _sorted_out(part, study, [o for o in outcome if not _is_check(o)])
            notes += [o.reason for o in outcome if isinstance(o, NoSheet) and _is_check(o)]
            pages += found
            failures += missing
        else:
            failures.append(part.reason)
        on_frame()
    status: PhotoStatus = "read" if pages else "no sheet" if opened else "failed"
    reasons = tuple(dict.fromkeys(failures))
    return PhotoResult(tuple(pages), reasons, status, notes=tuple(notes))


def _is_check(item: object) -> bool:
    """Whether this is the page that checks the print."""
    return isinstance(item, NoSheet) and item.kind == PRINT_CHECK


def _sorted_out(
    picture: Picture, study: Study, outcome: Outcome
) -> tuple[list[FoundPage], list[str]]:
    pages: list[FoundPage] = []
    failures: list[str] = []
    for item in outcome:
        if isinstance(item, NoSheet):
            prefix = f"page {picture.frame + 1}: " if picture.frame else ""
            failures.append(prefix + item.reason)
            continue
        view, reading = item
        if nothing_written(study, view, reading):
            prefix = f"page {picture.frame + 1}: " if picture.frame else ""
            failures.append(prefix + BLANK_SHEET)
            continue
        pages.append(_found_page(picture, view, reading))
    return pages, failures


def nothing_written(study: Study, view: SheetView, reading: PageReading) -> bool:
    """Whether every box of the page can be seen and is surely blank: a blank print, no visit."""
    keys = {header.name for header in study.header if header.kind in ("site", "date")}
    if not reading.fields or any(box.hidden or box.ink > FAINTEST_INK for box in view.boxes):
        return False
    return all(
        f.value is None
        and (f.status == "empty" or (f.field in keys and f.confidence >= SURELY_BLANK))
        for f in reading.fields
    )


def _found_page(picture: Picture, view: SheetView, reading: PageReading) -> FoundPage:
    boxes: dict[str, list[BoxView]] = {}
    for box in view.boxes:
        boxes.setdefault(box.cell.field, []).append(box)
    quality = view.quality
    return FoundPage(
        frame=picture.frame,
        study=reading.code.study,
        layout=reading.code.layout,
        sheet=reading.code.sheet,
        page=reading.code.page,
        identified_by=view.identified_by,
        px_per_mm=float(quality.px_per_mm),
        blur_mm=float(quality.blur_mm),
        contrast=float(quality.contrast),
        hidden_boxes=int(quality.hidden_boxes),
        glare_share=float(quality.glare_share),
        advice=reading.advice or quality.advice,
        site=reading.site,
        visit_date=reading.visit_date,
        outline=_points(view.outline_px),
        fields=tuple(_found_field(picture, f, boxes.get(f.field, [])) for f in reading.fields),
        threshold=reading.threshold,
    )


def _found_field(picture: Picture, field: FieldReading, boxes: list[BoxView]) -> FoundField:
    boxes = sorted(boxes, key=lambda b: b.cell.index)
    corners = tuple(_points(b.corners_px) for b in boxes)
    flagged = field.status == "flagged"
    around = context_png(picture.gray, corners, [b.cell.box_mm for b in boxes]) if flagged else b""
    return FoundField(
        field=field.field,
        value=field.value,
        confidence=float(field.confidence),
        status=field.status,
        reason=field.reason,
        runner_up=field.runner_up,
        runner_up_confidence=float(field.runner_up_confidence),
        boxes_png=pack_boxes([b.crop for b in boxes]),
        context_png=around,
        corners=corners,
    )


def _points(corners: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
    points = np.asarray(corners, dtype=float).reshape(-1, 2)
    return tuple((round(float(x), 2), round(float(y), 2)) for x, y in points)
