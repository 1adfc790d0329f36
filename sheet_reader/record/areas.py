"""The places for free writing on a sheet (comments, who counted) as small pictures.

They are cut out of the kept original when they are asked for, so that nothing is kept twice and
``erase`` has nothing to follow. Each is made anew from grey values, so it holds no notes of a
camera. What stands in "counted by" is a name: it is shown to the coordinator and never exported.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select

from sheet_reader.intake.pictures import open_picture
from sheet_reader.record import originals, schema
from sheet_reader.record.images import png_of
from sheet_reader.record.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.model import Page, SheetCode

AreaOfWriting = Literal["comments", "counted_by"]
AROUND_MM = 3.0
"""So much is shown around the area: about what a page bends between its boxes. Our choice."""
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
    with record.reading() as connection:
        seen = _seen(connection, page_instance_id)
    if seen is None:
        return []
    code, frame, original, corners = seen
    page = LayoutBook(record.study).lookup(code)
    if not original or not isinstance(page, Page):
        return []
    to_picture = _homography(page, corners)
    picture = open_picture(originals.at(record.folder, original), frame)
    if to_picture is None or picture is None:
        return []
    return [
        AreaPicture(area.kind, _cut(picture.gray, to_picture, area.box_mm))
        for area in page.areas
        if area.kind in ("comments", "counted_by")
    ]


def _seen(
    connection: Connection, page: int
) -> tuple[SheetCode, int, str, dict[str, Points]] | None:
    """Code, picture in the original, original, and the corners of the boxes of each field, (n, 4,
    2) px, of the last run that looked at the photo.
    """
    s, k, r, p = (schema.page_instances.c, schema.reading_runs.c, schema.readings.c,
                  schema.photos.c)  # fmt: skip
    about = select(s.study, s.layout, s.sheet, s.page, s.frame, p.original)
    joined = about.join_from(schema.page_instances, schema.photos, p.id == s.photo_id)
    row = connection.execute(joined.where(s.id == page)).one_or_none()
    if row is None:
        return None
    last = select(func.max(k.id)).where(k.page_instance_id == page, k.decoded_from.is_(None))
    found = connection.execute(select(r.field, r.corners).where(r.run_id == last.scalar_subquery()))
    corners = {f: np.array(json.loads(c), np.float64).reshape(-1, 4, 2) for f, c in found}
    code = SheetCode(row.study, row.layout, row.sheet, row.page)
    return code, row.frame, row.original, corners


def _homography(page: Page, corners: dict[str, Points]) -> Points | None:
    """From mm on the page to px in the picture, by the corners of all boxes that were found."""
    printed: list[Points] = []
    seen: list[Points] = []
    for field, boxes in corners.items():
        cells = sorted((c for c in page.cells if c.field == field), key=lambda c: c.index)
        if len(cells) == len(boxes):
            printed += [_corners(c.box_mm) for c in cells]
            seen += list(boxes)
    if len(seen) < LEAST_POINTS:
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
