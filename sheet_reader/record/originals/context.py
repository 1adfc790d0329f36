"""What a person is shown of a field: from the record, else cut out of the kept original."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, func, select

from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import open_picture
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.images import (
    FieldImages,
    close_up,
    context_png,
    laid_flat,
    unpack_boxes,
)
from sheet_reader.record.store import schema
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_files import FOLDER
from sheet_reader.sheet.kept_layouts import whole_book
from sheet_reader.sheet.model import BLANK, Page, SheetCode
from sheet_reader.study.model import Study

_SEEN, _SAW = schema.readings.alias(), schema.reading_runs.alias()
"""The reading, and its run, that saw the photo."""
Box = tuple[float, float, float, float]
SHEET_PX_PER_MM = 4.0
USUAL_MM = (210.0, 297.0)
WIDTH_MM, HEIGHT_MM, STEP_MM = 7.0, 9.0, 9.0


def field_images(connection: Connection, study: Study, reading_id: int) -> FieldImages:
    """Crops and surroundings of a reading; raises :class:`UsageError` where it is unknown."""
    r, k, s, p = (
        schema.readings.c,
        schema.reading_runs.c,
        schema.page_instances.c,
        schema.photos.c,
    )
    row = connection.execute(
        select(
            r.field, s.frame, p.original, s.study, s.layout, s.sheet, s.page, k.id, k.decoded_from,
        )
        .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
        .join(schema.page_instances, s.id == k.page_instance_id)
        .join(schema.photos, p.id == s.photo_id)
        .where(r.id == reading_id)
    ).one_or_none()  # fmt: skip
    if row is None:
        raise UsageError(f"there is no reading {reading_id} in the record")
    run_id = row.id if row.decoded_from is None else row.decoded_from  # which saw the photo
    pictures_of = select(r.boxes_png, r.context_png, r.corners)
    there = pictures_of.where(r.run_id == run_id, r.field == row.field)
    seen = connection.execute(there).one()
    context, corners = seen.context_png, json.loads(seen.corners)
    code = SheetCode(row.study, row.layout, row.sheet, row.page)
    boxes = _printed_boxes(study, code, row.field, len(corners))
    if not context and row.original:
        frame = open_picture(originals.at(study.folder, row.original), row.frame)
        if frame is not None:
            context = context_png(frame.gray, corners, boxes)
    close = close_up(boxes) if context and boxes else None
    return FieldImages(unpack_boxes(seen.boxes_png), context, close)


def box_crops(connection: Connection, reading_id: int) -> NDArray[np.uint8]:
    """The crops of a reading's boxes, uint8 (n, 64, 64), of the run that saw the photo; none where
    it is unknown.
    """
    found = connection.execute(_seen_of(reading_id)).one_or_none()
    return unpack_boxes(found.boxes_png if found is not None else b"")


def place_on_sheet(
    connection: Connection, reading_id: int
) -> tuple[float, float, float, float] | None:
    """Where a field's boxes lie on its sheet laid straight (:func:`sheet_picture`): left, top,
    width and height as shares of the sheet; None where that is not known.
    """
    found = connection.execute(_seen_of(reading_id)).one_or_none()
    if found is None:
        return None
    boxes = np.array(json.loads(found.corners), np.float64).reshape(-1, 2)
    outline = np.array(json.loads(found.outline), np.float64).reshape(-1, 2)
    if not len(boxes) or len(outline) != 4 or not np.isfinite([*boxes, *outline]).all():
        return None
    whole = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float64)
    homography, _ = cv2.findHomography(outline, whole)
    if homography is None:
        return None
    flat = cv2.perspectiveTransform(boxes.reshape(-1, 1, 2), homography).reshape(-1, 2)
    (left, top), (right, bottom) = flat.min(axis=0), flat.max(axis=0)
    return float(left), float(top), float(right - left), float(bottom - top)


def _seen_of(reading_id: int) -> Select[Any]:
    """Crops, corners and the page's outline of a reading, from the run that saw the photo."""
    r, k = schema.readings.c, schema.reading_runs.c
    seen, saw = _SEEN.c, _SAW.c
    same = (seen.run_id == func.coalesce(k.decoded_from, k.id)) & (seen.field == r.field)
    return (
        select(seen.boxes_png, seen.corners, saw.outline)
        .select_from(schema.readings)
        .join(schema.reading_runs, k.id == r.run_id)
        .join(_SEEN, same)
        .join(_SAW, saw.id == seen.run_id)
        .where(r.id == reading_id)
    )


def sheet_picture(
    connection: Connection, study: Study, page_instance_id: int
) -> NDArray[np.uint8] | None:
    """A whole page laid straight by its corners in the photo, grey uint8 (H, W), SHEET_PX_PER_MM;
    None where the kept photo can't be opened.
    """
    k, s, p = schema.reading_runs.c, schema.page_instances.c, schema.photos.c
    row = connection.execute(
        select(k.outline, s.frame, s.study, s.layout, s.sheet, s.page, p.original)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .join(schema.photos, p.id == s.photo_id)
        .where(s.id == page_instance_id)
        .order_by(k.id.desc())
        .limit(1)
    ).one_or_none()
    if row is None or not row.original:
        return None
    frame = open_picture(originals.at(study.folder, row.original), row.frame)
    corners = np.array(json.loads(row.outline), np.float64).reshape(-1, 2)
    if frame is None or len(corners) != 4 or not np.isfinite(corners).all():
        return None
    page = _printed(study, SheetCode(row.study, row.layout, row.sheet, row.page))
    wide, high = (page.width_mm, page.height_mm) if isinstance(page, Page) else USUAL_MM
    return laid_straight(frame.gray, corners, wide, high)


def laid_straight(
    gray: NDArray[np.uint8], corners: NDArray[np.float64], wide_mm: float, high_mm: float
) -> NDArray[np.uint8] | None:
    """What lies between ``corners`` (4, 2) px, clockwise from the top left of a page, as that page:
    grey uint8 (H, W), SHEET_PX_PER_MM; None where they lie around no area.
    """
    size = round(wide_mm * SHEET_PX_PER_MM), round(high_mm * SHEET_PX_PER_MM)
    target = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], np.float64)
    homography, _ = cv2.findHomography(corners, target)
    if homography is None:
        return None
    return laid_flat(gray, np.asarray(homography, np.float64), size)


_last_book: list[tuple[Study, frozenset[str], LayoutBook]] = []
"""The pages of the study that was asked for last, under the names of the layouts that were kept:
making them takes longer than all else here.
"""


def _printed(study: Study, code: SheetCode) -> Page | object:
    """The printed page, or why there is none."""
    folder = study.folder / FOLDER
    kept = folder.iterdir() if folder.is_dir() else ()
    names = frozenset(path.name for path in kept)
    if not (_last_book and _last_book[0][0] is study and _last_book[0][1] == names):
        _last_book[:] = [(study, names, whole_book(study))]
    return _last_book[0][2].lookup(code)


def _printed_boxes(study: Study, code: SheetCode, field: str, count: int) -> list[Box]:
    """Where the field's boxes are printed, in mm; about so for a layout that is no longer used.

    Counts stand in the same place on the sheet of every site, so theirs are taken from the blank.
    """
    page = _printed(study, replace(code, sheet=BLANK) if "." in field else code)
    if isinstance(page, Page):
        cells = sorted((c for c in page.cells if c.field == field), key=lambda c: c.index)
        if len(cells) == count:
            return [c.box_mm for c in cells]
    return [(n * STEP_MM, 0.0, WIDTH_MM, HEIGHT_MM) for n in range(count)]
