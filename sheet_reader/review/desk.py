"""The record as a desk of questions: what waits, how it looks, and where answers are kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from sheet_reader.record.lines import ReadingRow, Waiting
from sheet_reader.record.model import Answer
from sheet_reader.record.store import Record
from sheet_reader.review.model import Question, Shown
from sheet_reader.review.overlay import write_overlays
from sheet_reader.study.model import FieldSpec, Study


class RecordDesk:
    """Questions from a study's record. ``chosen`` limits it to some readings (an audit)."""

    def __init__(self, record: Record, chosen: Sequence[Waiting] | None = None) -> None:
        self.record = record
        self.study: Study = record.study
        self.specs: Mapping[str, FieldSpec] = {spec.name: spec for spec in self.study.fields}
        self._chosen = chosen
        self._now: dict[tuple[int, str], ReadingRow] = {}

    def questions(self) -> Sequence[Question]:
        """All fields that wait, photo by photo, site and date first."""
        self._now = {(row.page_instance_id, row.field): row for row in self.record.readings()}
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
            rows = [self._now.get((reading.page_instance_id, name)) for name in names]
            if reading.field in names and _disputed([row for row in rows if row is not None]):
                return names if None not in rows else ()
        return ()

    def show(self, question: Question, field: str) -> Shown:
        """The boxes of ``field`` on the question's page, and its value as it stands."""
        row = self._now.get((question.reading.page_instance_id, field))
        if row is None:
            return Shown(self.specs[field], None, "empty", np.zeros((0, 64, 64), np.uint8))
        images = self.record.images(row.reading_id)
        return Shown(self.specs[field], row.value, row.status, images.boxes, images.context_png)

    def keep(self, question: Question, answer: Answer, *, by: str, blind: bool) -> None:
        """Store the answer in the record; it is on disk when this returns."""
        reading = question.reading
        self.record.decide(reading.reading_id, answer, by, blind=blind, rivals=reading.rivals)

    def photo(self, question: Question, folder: Path) -> Path:
        """A copy of the whole photo (of a PDF the page) with its boxes drawn, in ``folder``."""
        reading = question.reading
        return write_overlays(self.record, reading.photo_id, folder, frame=reading.frame)[0]


def _disputed(rows: Sequence[ReadingRow]) -> bool:
    """Whether a total (first) and its parts are all read, wait, and do not add up."""
    values = [row.value for row in rows]
    if not rows or any(value is None or not value.isdigit() for value in values):
        return False
    if not any(row.status == "flagged" for row in rows):
        return False
    total, *parts = (int(value) for value in values if value is not None)
    return total != sum(parts)
