"""Pictures of fields and sheets: cut out of a photo, packed for the record, and shown from it, or
where it holds none from the kept original.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from sqlalchemy import Connection, Select, func, select

from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import open_picture
from sheet_reader.numbers import READING
from sheet_reader.record.originals import originals
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import kept_files, whole_book
from sheet_reader.sheet.page import BLANK, Page, SheetCode
from sheet_reader.study.study import Study
from sheet_reader.vision.arrays import Array, Box, Gray, as_array, as_gray, box_corners
from sheet_reader.vision.findings import CROP_PX

HATCH_PX, HATCH_DARK, HATCH_LIGHT = READING.hatch
"""Stripes where the picture shows nothing, so that it is not taken for blank paper."""
SHEET_PX_PER_MM = READING.sheet_px_per_mm
USUAL_MM = READING.usual_paper_mm
WIDTH_MM, HEIGHT_MM, STEP_MM = READING.usual_box_mm

_WHOLE = box_corners((0, 0, 1, 1))
_SEEN, _SAW = schema.readings.alias(), schema.reading_runs.alias()
"""The reading, and its run, that saw the photo."""


@dataclass(frozen=True, slots=True)
class FieldImages:
    """What a person looks at: ``boxes`` uint8 (n, 64, 64), leftmost first, and ``context_png``,
    the place around the field as PNG bytes (b"" where it cannot be had), in which ``close`` (left,
    top, right, bottom in px) are its boxes with half a box around.
    """

    boxes: Gray
    context_png: bytes
    close: tuple[int, int, int, int] | None = None


def png_of(gray: Gray) -> bytes:
    """A grey picture, uint8 (height, width), as PNG bytes."""
    done, data = cv2.imencode(".png", gray)
    return data.tobytes() if done else b""


def pack_boxes(crops: Sequence[Gray]) -> bytes:
    """Crops, each uint8 (64, 64), side by side as one PNG; b"" for none."""
    return png_of(np.hstack([np.ascontiguousarray(c) for c in crops])) if len(crops) else b""


def unpack_boxes(data: bytes) -> Gray:
    """The crops packed by :func:`pack_boxes`, uint8 (n, 64, 64)."""
    packed = np.frombuffer(data, dtype=np.uint8)
    strip = cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE) if data else None
    if strip is None or strip.shape[0] != CROP_PX or strip.shape[1] % CROP_PX:
        return np.zeros((0, CROP_PX, CROP_PX), dtype=np.uint8)
    count = strip.shape[1] // CROP_PX
    return np.stack(np.split(as_gray(strip), count, axis=1))


def context_png(
    gray: Gray, corners_px: Sequence[Sequence[Sequence[float]]], boxes_mm: Sequence[Box]
) -> bytes:
    """The surroundings of a field, laid flat, as PNG; hatched where they lie outside the picture.

    ``gray`` uint8 (height, width) is the photo; ``corners_px`` holds four x, y per box, clockwise
    from the printed top left; ``boxes_mm`` the same boxes on the page. Gives b"" where the corners
    make no sense.
    """
    seen = np.asarray(corners_px, dtype=np.float64).reshape(-1, 2)
    printed = np.array([box_corners(box) for box in boxes_mm]).reshape(-1, 2)
    if not len(seen) or seen.shape != printed.shape or not np.isfinite(seen).all():
        return b""
    (left, top, right, bottom), scale = _around(boxes_mm)
    homography, _ = cv2.findHomography(seen, (printed - (left, top)) * scale)
    if homography is None:
        return b""
    size = (round((right - left) * scale), round((bottom - top) * scale))
    return png_of(_laid_flat(gray, as_array(homography), size))


def _around(boxes_mm: Sequence[Box]) -> tuple[Box, float]:
    """The place shown around boxes (left, top, right, bottom in mm), and its px per mm."""
    x, y, w, h = np.array(boxes_mm, np.float64).T
    left, top = float(x.min()) - READING.context_left_mm, float(y.min()) - READING.context_above_mm
    right = float((x + w).max()) + READING.context_right_mm
    bottom = float((y + h).max()) + READING.context_below_mm
    most = READING.context_longest_px / max(right - left, bottom - top)
    return (left, top, right, bottom), min(READING.context_px_per_mm, most)


def close_up(boxes_mm: Sequence[Box]) -> tuple[int, int, int, int]:
    """Where in the picture of :func:`context_png` the boxes lie with half a box around: left, top,
    right, bottom in px.
    """
    (left, top, _, _), scale = _around(boxes_mm)
    x, y, w, h = np.array(boxes_mm, np.float64).T
    half_w, half_h = float(w.max()) / 2, float(h.max()) / 2
    return (
        max(round((float(x.min()) - half_w - left) * scale), 0),
        max(round((float(y.min()) - half_h - top) * scale), 0),
        round((float((x + w).max()) + half_w - left) * scale),
        round((float((y + h).max()) + half_h - top) * scale),
    )


def laid_straight(gray: Gray, corners: Array, wide_mm: float, high_mm: float) -> Gray | None:
    """What lies between ``corners`` (4, 2) px, clockwise from the top left of a page, as that page:
    grey uint8 (H, W), SHEET_PX_PER_MM; None where they lie around no area.
    """
    size = round(wide_mm * SHEET_PX_PER_MM), round(high_mm * SHEET_PX_PER_MM)
    homography, _ = cv2.findHomography(corners, _WHOLE * size)
    if homography is None:
        return None
    return _laid_flat(gray, as_array(homography), size)


def _laid_flat(gray: Gray, homography: Array, size: tuple[int, int]) -> Gray:
    """The part of ``gray`` that ``homography`` takes to a picture of ``size`` (width, height), with
    light paper and dark ink, for the eye only; hatched where ``gray`` shows nothing.
    """
    flat = as_gray(cv2.warpPerspective(gray, homography, size, borderValue=255))
    there = np.asarray(cv2.warpPerspective(np.ones_like(gray), homography, size)) > 0
    across = np.add.outer(np.arange(size[1]), np.arange(size[0])) // HATCH_PX % 2
    hatch: Gray = np.where(across == 0, HATCH_DARK, HATCH_LIGHT).astype(np.uint8)
    if not there.any():
        return hatch
    dark, light = np.percentile(flat[there], (0.5, 90.0))
    scale = 235.0 / max(float(light - dark), 25.0)
    levelled = np.clip(235.0 - (light - flat) * scale, 0, 255)
    return np.where(there, levelled.astype(np.uint8), hatch)


def field_images(record: Record, reading_id: int) -> FieldImages:
    """Crops and surroundings of a reading; raises :class:`UsageError` where it is unknown."""
    s, p, r = schema.page_instances.c, schema.photos.c, schema.readings.c
    query = _seen_of(reading_id).add_columns(
        r.field, _SEEN.c.context_png, s.frame, p.original, s.study, s.layout, s.sheet, s.page
    )
    joined = query.join(schema.page_instances, s.id == schema.reading_runs.c.page_instance_id)
    with record.reading() as connection:
        row = connection.execute(joined.join(schema.photos, p.id == s.photo_id)).one_or_none()
    if row is None:
        raise UsageError(f"there is no reading {reading_id} in the record")
    context, corners = row.context_png, json.loads(row.corners)
    code = SheetCode(row.study, row.layout, row.sheet, row.page)
    boxes = _printed_boxes(record.study, code, row.field, len(corners))
    if not context and row.original:
        frame = open_picture(originals.at(record.folder, row.original), row.frame)
        if frame is not None:
            context = context_png(frame.gray, corners, boxes)
    close = close_up(boxes) if context and boxes else None
    return FieldImages(unpack_boxes(row.boxes_png), context, close)


def box_crops(connection: Connection, reading_id: int) -> Gray:
    """The crops of a reading's boxes, uint8 (n, 64, 64), of the run that saw the photo; none where
    it is unknown.
    """
    found = connection.execute(_seen_of(reading_id)).one_or_none()
    return unpack_boxes(found.boxes_png if found is not None else b"")


def place_on_sheet(connection: Connection, reading_id: int) -> Box | None:
    """Where a field's boxes lie on its sheet laid straight (:func:`sheet_picture`): left, top,
    width and height as shares of the sheet; None where that is not known.
    """
    found = connection.execute(_seen_of(reading_id)).one_or_none()
    if found is None:
        return None
    boxes, outline = points_in(found.corners), points_in(found.outline)
    if not len(boxes) or len(outline) != 4 or not np.isfinite([*boxes, *outline]).all():
        return None
    homography, _ = cv2.findHomography(outline, _WHOLE)
    if homography is None:
        return None
    flat = cv2.perspectiveTransform(boxes.reshape(-1, 1, 2), homography).reshape(-1, 2)
    (left, top), (right, bottom) = flat.min(axis=0), flat.max(axis=0)
    return float(left), float(top), float(right - left), float(bottom - top)


def points_in(kept: str) -> Array:
    """The points that a record keeps as JSON, float64 (n, 2)."""
    return np.array(json.loads(kept), np.float64).reshape(-1, 2)


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


def sheet_picture(record: Record, page_instance_id: int) -> Gray | None:
    """A whole page laid straight by its corners in the photo, grey uint8 (H, W), SHEET_PX_PER_MM;
    None where the kept photo can't be opened.
    """
    k, s, p = schema.reading_runs.c, schema.page_instances.c, schema.photos.c
    last = (
        select(k.outline, s.frame, s.study, s.layout, s.sheet, s.page, p.original)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .join(schema.photos, p.id == s.photo_id)
        .where(s.id == page_instance_id)
        .order_by(k.id.desc())
        .limit(1)
    )
    with record.reading() as connection:
        row = connection.execute(last).one_or_none()
    if row is None or not row.original:
        return None
    frame = open_picture(originals.at(record.folder, row.original), row.frame)
    corners = points_in(row.outline)
    if frame is None or len(corners) != 4 or not np.isfinite(corners).all():
        return None
    code = SheetCode(row.study, row.layout, row.sheet, row.page)
    page = book_of(record.study).lookup(code)
    wide, high = (page.width_mm, page.height_mm) if isinstance(page, Page) else USUAL_MM
    return laid_straight(frame.gray, corners, wide, high)


_last_book: list[tuple[Study, frozenset[str], LayoutBook]] = []


def book_of(study: Study) -> LayoutBook:
    """The pages of a study in every layout that was kept. Those of the study that was asked for
    last are kept: making them takes longer than all else here.
    """
    names = frozenset(path.name for path in kept_files(study.folder))
    if not (_last_book and _last_book[0][0] is study and _last_book[0][1] == names):
        _last_book[:] = [(study, names, whole_book(study))]
    return _last_book[0][2]


def _printed_boxes(study: Study, code: SheetCode, field: str, count: int) -> list[Box]:
    """Where the field's boxes are printed, in mm; about so for a layout that is no longer used.

    Counts stand in the same place on the sheet of every site, so theirs are taken from the blank.
    """
    page = book_of(study).lookup(replace(code, sheet=BLANK) if "." in field else code)
    boxes = boxes_of(page, field) if isinstance(page, Page) else []
    if len(boxes) == count:
        return boxes
    return [(n * STEP_MM, 0.0, WIDTH_MM, HEIGHT_MM) for n in range(count)]


def boxes_of(page: Page, field: str) -> list[Box]:
    """The boxes of a field on a page, leftmost first."""
    cells = sorted((c for c in page.cells if c.field == field), key=lambda c: c.index)
    return [cell.box_mm for cell in cells]
