"""The pictures of the page as bytes, made when asked for and kept for a while in memory."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable

import cv2
import numpy as np

from sheet_reader.answers.questions import AlikeCard, Card, FieldCard
from sheet_reader.intake.pictures import open_picture
from sheet_reader.numbers import REVIEW
from sheet_reader.reading.field_pictures import png_of
from sheet_reader.reading.written_areas import area_pictures
from sheet_reader.review.face import readings_in
from sheet_reader.review.pictures import strip
from sheet_reader.review.source import Gray, RecordQuestions

MOST_KEPT = REVIEW.page_pictures_kept
PHOTO_PX = REVIEW.overlay_px
QUALITY = REVIEW.overlay_quality

Made = tuple[bytes, str]
"""Bytes and media type."""


class PictureShelf:
    """Pictures of one study by kind and number; safe to ask from several threads."""

    def __init__(self, source: RecordQuestions) -> None:
        self._source = source
        self._kept: OrderedDict[tuple[str, int], Made | None] = OrderedDict()
        self._lock = threading.Lock()
        self._marks: dict[int, tuple[float, float, float, float] | None] = {}
        self._makers: dict[str, Callable[[int], Gray | None]] = {
            "close": lambda number: source.field(number).shown,
            "row": lambda number: source.field(number).row,
            "boxes": lambda number: strip(source.boxes(number)),
            "sheet": source.sheet,
            "photo": self._photo,
            "arrived": lambda number: self._frame(number, 0),
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
            self._marks[reading_id] = self._source.mark(reading_id)
        return self._marks[reading_id]

    def shows(self, card: Card) -> bool:
        """Whether there is any picture of what ``card`` asks about; of counts asked together, one
        of each.
        """
        readings = [card.reading] if isinstance(card, FieldCard) else readings_in(card)
        there = [self.get("close", reading.reading_id) is not None for reading in readings]
        if not there or (all(there) if isinstance(card, AlikeCard) else any(there)):
            return True
        return self.get("sheet", card.place.page_instance_id) is not None

    def _make(self, kind: str, number: int) -> Made | None:
        if kind in ("comments", "counted_by"):
            areas = area_pictures(self._source.record, number)
            return next(((area.png, "image/png") for area in areas if area.kind == kind), None)
        gray = self._makers[kind](number) if kind in self._makers else None
        if gray is None or not gray.size:
            return None
        if kind in ("sheet", "photo", "arrived"):
            return jpeg(gray)
        return png_of(gray), "image/png"

    def _photo(self, page_instance_id: int) -> Gray | None:
        """The whole photo as it came, without what was read in it: blind fields stay blind."""
        place = self._source.place_of(page_instance_id)
        return None if place is None else self._frame(*place)

    def _frame(self, photo_id: int, number: int) -> Gray | None:
        picture = open_picture(self._source.record.photo_path(photo_id), number)
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
