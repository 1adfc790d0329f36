"""The places for free writing on a sheet (comments, who counted) as small pictures.

They are cut out of the kept original when they are asked for, so that nothing is kept twice and
``erase`` has nothing to follow. Each is made anew from grey values, so it holds no notes of a
camera. What stands in "counted by" is a name: it is shown to the coordinator and never exported.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, Connection, select

from sheet_reader.intake.pictures import open_picture
from sheet_reader.record.history.states import TYPED
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.images import png_of
from sheet_reader.record.people.people import BLANKED_AREAS
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import whole_book
from sheet_reader.sheet.model import BLANK, Page, SheetCode

AreaOfWriting = Literal["comments", "counted_by"]
AROUND_MM = 3.0
"""So much is shown around the area: about what a page bends between its boxes. Our choice."""
SPARED_MM = 1.0
"""So much around a marker, code or box stays when the space for who counted is blanked."""
PX_PER_MM = 6.0
LEAST_POINTS = 4

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AreaPicture:
    """An area of a page, laid flat, as PNG."""

    kind: AreaOfWriting
    png: bytes


def area_pictures(record: Record, page_instance_id: int) -> list[AreaPicture]:
    """The areas for free writing of a page as its photo shows them; none where the layout has none,
    the page is not known any more, was typed in by hand, or its photo can't be opened.
    """
    number = schema.page_instances.c.id == page_instance_id
    with record.reading() as connection:
        seen = _seen(connection, whole_book(record.study), number)
    if not seen or seen[0] is None or not seen[0].original:
        return []
    on, to_picture = seen[0], seen[0].to_picture
    picture = open_picture(originals.at(record.folder, on.original), on.frame)
    if picture is None:
        return []
    return [
        AreaPicture(area.kind, _cut(picture.gray, to_picture, area.box_mm))
        for area in on.page.areas
        if area.kind in ("comments", "counted_by")
    ]


@dataclass(frozen=True, slots=True)
class SheetSeen:
    """A printed page in a photo: ``frame`` is the number of the picture in its ``original``,
    ``to_picture`` the homography from mm on the page to px there.
    """

    page: Page
    frame: int
    original: str
    to_picture: Points


def sheets_seen(
    connection: Connection, book: LayoutBook, photo_id: int
) -> list[SheetSeen] | None:
    """The sheets in a photo; None where none was found, or one of which it is not known where on
    it what was printed.
    """
    found = _seen(connection, book, schema.page_instances.c.photo_id == photo_id)
    known = [sheet for sheet in found if sheet is not None]
    return known if known and len(known) == len(found) else None


def blank_names(gray: NDArray[np.uint8], sheets: Iterable[SheetSeen]) -> None:
    """Fill the space for who counted on these sheets, and what was written over its edge, with one
    grey; markers, codes and boxes beside it stay as they are.
    """
    for on in sheets:
        mask = np.zeros(gray.shape, np.uint8)
        for area in (a for a in on.page.areas if a.kind in BLANKED_AREAS):
            _fill(mask, on.to_picture, _grown(area.box_mm, AROUND_MM), 1)
        around = [m.corners_mm for m in on.page.markers]
        boxes = [on.page.code_box_mm, on.page.printed_code_box_mm]
        for box in (*boxes, *(cell.box_mm for cell in on.page.cells)):
            _fill(mask, on.to_picture, _grown(box, SPARED_MM), 0)
        for corners in around:
            (left, top), (right, bottom) = np.min(corners, axis=0), np.max(corners, axis=0)
            box = (left, top, right - left, bottom - top)
            _fill(mask, on.to_picture, _grown(box, SPARED_MM), 0)
        if mask.any():
            gray[mask == 1] = round(float(np.median(gray[mask == 1])))


def _grown(
    box_mm: tuple[float, float, float, float], by: float
) -> tuple[float, float, float, float]:
    x, y, w, h = box_mm
    return x - by, y - by, w + 2 * by, h + 2 * by


def _fill(
    mask: NDArray[np.uint8], to_picture: Points, box_mm: tuple[float, float, float, float], as_: int
) -> None:
    corners = cv2.perspectiveTransform(_corners(box_mm).reshape(-1, 1, 2), to_picture)
    cv2.fillPoly(mask, [corners.round().astype(np.int32)], as_)


def _seen(
    connection: Connection, book: LayoutBook, which: ColumnElement[bool]
) -> list[SheetSeen | None]:
    """The page instances that ``which`` picks, by the last run that looked at the photo; None for
    one of which it is not known where on it what was printed. Typed ones are left out.
    """
    s, k, r, p = (schema.page_instances.c, schema.reading_runs.c, schema.readings.c,
                  schema.photos.c)  # fmt: skip
    about = select(s.id, s.study, s.layout, s.sheet, s.page, s.frame, p.original)
    joined = about.join_from(schema.page_instances, schema.photos, p.id == s.photo_id)
    found: list[SheetSeen | None] = []
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
            found.append(None)
            continue
        read = connection.execute(select(r.field, r.corners).where(r.run_id == run.id))
        corners = {f: np.array(json.loads(c), np.float64).reshape(-1, 4, 2) for f, c in read}
        outline = np.array(json.loads(run.outline), np.float64).reshape(-1, 2)
        to_picture = _homography(page, corners, outline)
        found.append(
            None if to_picture is None else SheetSeen(page, row.frame, row.original, to_picture)
        )
    return found


def _homography(page: Page, corners: dict[str, Points], outline: Points) -> Points | None:
    """From mm on the page to px in the picture, by the corners of all boxes that were found, or
    where there are too few by the page's own.
    """
    printed: list[Points] = []
    seen: list[Points] = []
    for field, boxes in corners.items():
        cells = sorted((c for c in page.cells if c.field == field), key=lambda c: c.index)
        if len(cells) == len(boxes):
            printed += [_corners(c.box_mm) for c in cells]
            seen += list(boxes)
    if len(seen) < LEAST_POINTS and len(outline) == LEAST_POINTS:
        printed, seen = [_corners((0, 0, page.width_mm, page.height_mm))], [outline]
    if not seen or not np.isfinite(np.vstack(seen)).all():
        return None
    found, _ = cv2.findHomography(np.vstack(printed), np.vstack(seen), cv2.LMEDS)
    return None if found is None else np.asarray(found, np.float64)


def _corners(box_mm: tuple[float, float, float, float]) -> Points:
    x, y, w, h = box_mm
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])


def _cut(
    gray: NDArray[np.uint8], to_picture: Points, box_mm: tuple[float, float, float, float]
) -> bytes:
    x, y, w, h = box_mm
    left, top = x - AROUND_MM, y - AROUND_MM
    size = (round((w + 2 * AROUND_MM) * PX_PER_MM), round((h + 2 * AROUND_MM) * PX_PER_MM))
    to_page = np.array([[1 / PX_PER_MM, 0, left], [0, 1 / PX_PER_MM, top], [0, 0, 1]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    flat = cv2.warpPerspective(gray, to_picture @ to_page, size, flags=flags, borderValue=255)
    return png_of(np.asarray(flat, np.uint8))
