"""The pictures of the page as bytes, made when asked for and kept for a while in memory."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable

import cv2
import numpy as np

from sheet_reader.intake.pictures import open_picture
from sheet_reader.numbers import REVIEW
from sheet_reader.reading.field_pictures import png_of
from sheet_reader.reading.written_areas import area_pictures
from sheet_reader.review.cards import AlikeCard, Card, FieldCard, SumCard
from sheet_reader.review.desk import RecordDesk
from sheet_reader.review.model import Gray
from sheet_reader.review.pictures import strip

MOST_KEPT = REVIEW.page_pictures_kept
PHOTO_PX = REVIEW.overlay_px
QUALITY = REVIEW.overlay_quality

Made = tuple[bytes, str]
"""Bytes and media type."""


class PictureShelf:
    """Pictures of one study by kind and number; safe to ask from several threads."""

    def __init__(self, desk: RecordDesk) -> None:
        self._desk = desk
        self._kept: OrderedDict[tuple[str, int], Made | None] = OrderedDict()
        self._lock = threading.Lock()
        self._marks: dict[int, tuple[float, float, float, float] | None] = {}
        self._makers: dict[str, Callable[[int], Gray | None]] = {
            "close": self._close,
            "row": self._row,
            "boxes": self._boxes,
            "sheet": self._desk.sheet_numbered,
            "photo": self._photo,
            "arrived": self._arrived,
        }

    def get(self, kind: str, number: int) -> Made | None:
        """A picture; None where there is none of that kind and number."""
        place = kind, number
        with self._lock:
            if place in self._kept:
                self._kept.move_to_end(place)
                return self._kept[place]
        made = self._make(kind, number)
        with self._lock:
            self._kept[place] = made
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return made

    def mark(self, reading_id: int) -> tuple[float, float, float, float] | None:
        """Where a field lies on its sheet, as shares of it."""
        if reading_id not in self._marks:
            self._marks[reading_id] = self._desk.mark(reading_id)
        return self._marks[reading_id]

    def shows(self, card: Card) -> bool:
        """Whether there is any picture of what ``card`` asks about; of counts asked together, one
        of each.
        """
        if isinstance(card, FieldCard):
            readings = [card.reading.reading_id]
        elif isinstance(card, SumCard | AlikeCard):
            readings = [stated.reading.reading_id for stated in card.fields]
        else:
            return True
        there = [self.get("close", number) is not None for number in readings]
        if all(there) if isinstance(card, AlikeCard) else any(there):
            return True
        return self.get("sheet", card.place.page_instance_id) is not None

    def _make(self, kind: str, number: int) -> Made | None:
        if kind in ("comments", "counted_by"):
            areas = area_pictures(self._desk.record, number)
            return next(((area.png, "image/png") for area in areas if area.kind == kind), None)
        gray = self._makers[kind](number) if kind in self._makers else None
        if gray is None or not gray.size:
            return None
        if kind in ("sheet", "photo", "arrived"):
            return jpeg(gray)
        return png_of(gray), "image/png"

    def _close(self, reading_id: int) -> Gray | None:
        pictures = self._desk.field_numbered(reading_id)
        return pictures.close if pictures.close is not None else strip(pictures.boxes)

    def _row(self, reading_id: int) -> Gray | None:
        return self._desk.field_numbered(reading_id).row

    def _boxes(self, reading_id: int) -> Gray | None:
        return strip(self._desk.boxes_numbered(reading_id))

    def _photo(self, page_instance_id: int) -> Gray | None:
        """The whole photo as it came, without what was read in it: blind fields stay blind."""
        place = self._desk.place_numbered(page_instance_id)
        return None if place is None else self._frame(*place)

    def _arrived(self, photo_id: int) -> Gray | None:
        """The first picture of a photo, whatever was found in it."""
        return self._frame(photo_id, 0)

    def _frame(self, photo_id: int, number: int) -> Gray | None:
        picture = open_picture(self._desk.record.photo_path(photo_id), number)
        return None if picture is None else picture.gray


def jpeg(gray: Gray) -> Made:
    """A large picture as JPEG, made smaller where it would fill more than a large screen."""
    scale = min(1.0, PHOTO_PX / max(gray.shape))
    size = (max(1, round(gray.shape[1] * scale)), max(1, round(gray.shape[0] * scale)))
    small = gray if scale == 1.0 else cv2.resize(gray, size, interpolation=cv2.INTER_AREA)
    done, data = cv2.imencode(
        ".jpg", np.asarray(small, np.uint8), [cv2.IMWRITE_JPEG_QUALITY, QUALITY]
    )
    return data.tobytes() if done else b"", "image/jpeg"
