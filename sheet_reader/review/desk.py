"""The record as a desk of questions: what waits, how it looks, and where answers are kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from sheet_reader.record.model import Answer, ReadingRow, Waiting
from sheet_reader.record.store import Record
from sheet_reader.review.answers import answer_text
from sheet_reader.review.model import Question, Shown
from sheet_reader.review.overlay import write_overlays
from sheet_reader.study.model import FieldSpec, Study

PageKey = tuple[int, str, int]
"""Photo, sheet and page number."""


def page_key(reading: Waiting | ReadingRow) -> PageKey:
    """The page in its photo that ``reading`` belongs to."""
    return (reading.photo_id, reading.sheet, reading.page)


class RecordDesk:
    """Questions from a study's record. ``chosen`` limits it to some readings (an audit)."""

    def __init__(self, record: Record, chosen: Sequence[Waiting] | None = None) -> None:
        self.record = record
        self.study: Study = record.study
        self.specs: Mapping[str, FieldSpec] = {spec.name: spec for spec in self.study.fields}
        self._chosen = chosen
        self._now: dict[tuple[PageKey, str], ReadingRow] = {}
        self._given: dict[tuple[PageKey, str], str | None] = {}

    def questions(self) -> Sequence[Question]:
        """All fields that wait, photo by photo, site and date first."""
        self._now = {(page_key(row), row.field): row for row in self.record.readings()}
        self._given = {}
        waiting = self.record.pending() if self._chosen is None else self._chosen
        return [
            Question(reading, self.specs[reading.field], self._together(reading))
            for reading in waiting
            if reading.field in self.specs
        ]

    def _together(self, reading: Waiting) -> tuple[str, ...]:
        """The fields of a sum of this field that does not hold as read, the total first."""
        for rule in self.study.sums:
            names = (rule.total, *rule.parts)
            rows = [self._now.get((page_key(reading), name)) for name in names]
            if reading.field in names and _disputed([row for row in rows if row is not None]):
                return names if None not in rows else ()
        return ()

    def show(self, question: Question, field: str) -> Shown:
        """The boxes of ``field`` on the question's page, and its value as it stands."""
        place = (page_key(question.reading), field)
        row = self._now.get(place)
        if row is None:
            return Shown(self.specs[field], None, "empty", np.zeros((0, 64, 64), np.uint8))
        images = self.record.images(row.reading_id)
        if place in self._given:
            value = self._given[place]
            return Shown(self.specs[field], value, "answered", images.boxes, images.context_png)
        return Shown(self.specs[field], row.value, row.status, images.boxes, images.context_png)

    def keep(self, question: Question, answer: Answer, *, by: str, blind: bool) -> None:
        """Store the answer in the record; it is on disk when this returns."""
        self.record.decide(question.reading.reading_id, answer, by, blind=blind)
        place = (page_key(question.reading), question.reading.field)
        self._given[place] = answer_text(answer, question.reading.value)

    def photo(self, question: Question, folder: Path) -> Path:
        """A copy of the whole photo with its boxes drawn, in ``folder``."""
        return write_overlays(self.record, question.reading.photo_id, folder)[0]


def _disputed(rows: Sequence[ReadingRow]) -> bool:
    """Whether a total (first) and its parts are all read, wait, and do not add up."""
    values = [row.value for row in rows]
    if not rows or any(value is None or not value.isdigit() for value in values):
        return False
    if not any(row.status == "flagged" for row in rows):
        return False
    total, *parts = (int(value) for value in values if value is not None)
    return total != sum(parts)
