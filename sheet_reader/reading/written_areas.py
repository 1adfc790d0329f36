"""The places for free writing on a sheet (comments, who counted): shown as small pictures, and
blanked where a person is erased.

They are cut out of the kept original when they are asked for, so that nothing is kept twice and
``erase`` has nothing to follow. Each is made anew from grey values, so it holds no notes of a
camera. What stands in "counted by" is a name: it is shown to the coordinator and never exported.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

import cv2
import numpy as np
from PIL import Image
from sqlalchemy import ColumnElement, Connection, select

from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import open_picture, open_pictures
from sheet_reader.numbers import READING
from sheet_reader.reading.field_pictures import book_of, boxes_of, png_of, points_in
from sheet_reader.record.history.photos import is_bare
from sheet_reader.record.history.states import TYPED
from sheet_reader.record.originals import originals
from sheet_reader.record.people.people import BLANKED_AREAS
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import BLANK, Page, SheetCode
from sheet_reader.vision.arrays import Array, Box, Gray, as_array, as_gray, box_corners

AreaOfWriting = Literal["comments", "counted_by"]
AROUND_MM, SPARED_MM = READING.area_around_mm, READING.area_spared_mm
PX_PER_MM = READING.area_px_per_mm
NOTHING = np.full((8, 8), 255, dtype=np.uint8)
"""Stands for a page that gave no picture, so that the others keep their numbers."""


@dataclass(frozen=True, slots=True)
class AreaPicture:
    """An area of a page, laid flat, as PNG."""

    kind: AreaOfWriting
    png: bytes


@dataclass(frozen=True, slots=True)
class LocatedPage:
    """A printed page in a photo: ``frame`` is the number of the picture in its ``original``,
    ``to_picture`` the homography from mm on the page to px there.
    """

    page: Page
    frame: int
    original: str
    to_picture: Array


def area_pictures(record: Record, page_instance_id: int) -> list[AreaPicture]:
    """The areas for free writing of a page as its photo shows them; none where the layout has none,
    the page is not known any more, was typed in by hand, or its photo can't be opened.
    """
    number = schema.page_instances.c.id == page_instance_id
    with record.reading() as connection:
        on = next(_located(connection, book_of(record.study), number), None)
    if on is None or not on.original:
        return []
    picture = open_picture(originals.at(record.folder, on.original), on.frame)
    return [] if picture is None else [
        AreaPicture(area.kind, _cut(picture.gray, on.to_picture, area.box_mm))
        for area in on.page.areas
        if area.kind in ("comments", "counted_by")
    ]  # fmt: skip


def _cut(gray: Gray, to_picture: Array, box_mm: Box) -> bytes:
    left, top, wide, high = _grown(box_mm, AROUND_MM)
    size = round(wide * PX_PER_MM), round(high * PX_PER_MM)
    to_page = np.array([[1 / PX_PER_MM, 0, left], [0, 1 / PX_PER_MM, top], [0, 0, 1]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    flat = cv2.warpPerspective(gray, to_picture @ to_page, size, flags=flags, borderValue=255)
    return png_of(as_gray(flat))


def bare_picture(record: Record, photo: Any, blank: bool) -> tuple[bytes, bool] | None:
    """The pictures of a ``photo`` (its row) as they were read, without any tags, as the bytes of a
    TIFF; and whether who counted is blanked in it, which ``blank`` asks for: that can be done only
    where all sheets in it were found. None where the file gives no picture, or one that would be
    no barer than what is kept.
    """
    sheets = None
    if blank:
        with record.reading() as connection:
            on_photo = schema.page_instances.c.photo_id == photo.id
            found = list(_located(connection, book_of(record.study), on_photo))
        sheets = [sheet for sheet in found if sheet is not None]
        if not sheets or len(sheets) < len(found):
            sheets = None
    if sheets is None and is_bare(photo.sha256, photo.original):
        return None
    parts = open_pictures(originals.at(record.folder, photo.original))
    if not any(isinstance(part, OpenedPicture) for part in parts):
        return None
    frames = [p.gray.copy() if isinstance(p, OpenedPicture) else NOTHING.copy() for p in parts]
    for sheet in sheets or ():
        if sheet.frame < len(frames):
            _blank_names(frames[sheet.frame], sheet)
    first, *more = map(Image.fromarray, frames)
    stream = io.BytesIO()
    first.save(
        stream, "TIFF", compression="tiff_adobe_deflate", save_all=True, append_images=more
    )
    return stream.getvalue(), sheets is not None


def _blank_names(gray: Gray, on: LocatedPage) -> None:
    """Fill the space for who counted, and what was written over its edge, with one grey; markers,
    codes and boxes beside it stay as they are.
    """
    mask = np.zeros(gray.shape, np.uint8)
    markers = [(*np.min(m.corners_mm, axis=0), *np.ptp(m.corners_mm, axis=0))
               for m in on.page.markers]  # fmt: skip
    for value, by, boxes in (
        (1, AROUND_MM, [a.box_mm for a in on.page.areas if a.kind in BLANKED_AREAS]),
        (0, SPARED_MM, [on.page.code_box_mm, on.page.printed_code_box_mm, *markers,
                        *(cell.box_mm for cell in on.page.cells)]),
    ):  # fmt: skip
        for box in boxes:
            corners = box_corners(_grown(box, by)).reshape(-1, 1, 2)
            there = cv2.perspectiveTransform(corners, on.to_picture)
            cv2.fillPoly(mask, [there.round().astype(np.int32)], value)
    if mask.any():
        gray[mask == 1] = round(float(np.median(gray[mask == 1])))


def _grown(box_mm: Box, by: float) -> Box:
    x, y, w, h = box_mm
    return x - by, y - by, w + 2 * by, h + 2 * by


def _located(
    connection: Connection, book: LayoutBook, which: ColumnElement[bool]
) -> Iterator[LocatedPage | None]:
    """The page instances that ``which`` picks, by the last run that looked at the photo; None for
    one of which it is not known where on it what was printed. Typed ones are left out.
    """
    s, k, r, p = (schema.page_instances.c, schema.reading_runs.c, schema.readings.c,
                  schema.photos.c)  # fmt: skip
    about = select(s.id, s.study, s.layout, s.sheet, s.page, s.frame, p.original)
    joined = about.join_from(schema.page_instances, schema.photos, p.id == s.photo_id)
    for row in connection.execute(joined.where(which, s.layout != TYPED).order_by(s.id)).all():
        last = select(k.id, k.outline).where(
            k.page_instance_id == row.id, k.decoded_from.is_(None)
        ).order_by(k.id.desc()).limit(1)  # fmt: skip
        run = connection.execute(last).one_or_none()
        code = SheetCode(row.study, row.layout, row.sheet, row.page)
        page = book.lookup(code)
        if not isinstance(page, Page):  # a site that is not on the list any more
            page = book.lookup(replace(code, sheet=BLANK))
        if run is None or not isinstance(page, Page):
            yield None
            continue
        read = connection.execute(select(r.field, r.corners).where(r.run_id == run.id))
        corners = {f: np.array(json.loads(c), np.float64).reshape(-1, 4, 2) for f, c in read}
        to_picture = _homography(page, corners, points_in(run.outline))
        yield to_picture if to_picture is None else LocatedPage(
            page, row.frame, row.original, to_picture
        )


def _homography(page: Page, corners: dict[str, Array], outline: Array) -> Array | None:
    """From mm on the page to px in the picture, by the corners of all boxes that were found, or
    where there are too few by the page's own.
    """
    printed: list[Array] = []
    seen: list[Array] = []
    for field, boxes in corners.items():
        on_page = boxes_of(page, field)
        if len(on_page) == len(boxes):
            printed += map(box_corners, on_page)
            seen += list(boxes)
    if len(seen) < 4 and len(outline) == 4:  # fewer than a homography needs
        printed, seen = [box_corners((0, 0, page.width_mm, page.height_mm))], [outline]
    if not seen or not np.isfinite(np.vstack(seen)).all():
        return None
    found, _ = cv2.findHomography(np.vstack(printed), np.vstack(seen), cv2.LMEDS)
    return None if found is None else as_array(found)
