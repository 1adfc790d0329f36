"""Where cards come from and answers go: what waits in a record, how it looks, and what is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sheet_reader.answers.questions import Card, FieldCard
from sheet_reader.answers.replies import Reply
from sheet_reader.reading.field_pictures import (
    box_crops,
    field_images,
    place_on_sheet,
    sheet_picture,
)
from sheet_reader.record.history.answers import Answer, Kept
from sheet_reader.record.history.blind_answers import add_look, asked_twice, looks
from sheet_reader.record.history.deciding import keep
from sheet_reader.record.history.states import FieldState, VisitState
from sheet_reader.record.store.store import Record
from sheet_reader.review.agreement import Agreement, agreement
from sheet_reader.review.overlay import side_by_side, write_overlays
from sheet_reader.review.pictures import picture_of, strip
from sheet_reader.review.queue import Queue
from sheet_reader.study.study import FieldSpec, Study

Gray = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class FieldPictures:
    """What can be seen of a field: ``close`` its boxes with half a box around, ``row`` the whole
    row with label and tally space, each grey uint8 (H, W) or None; ``boxes`` uint8 (n, 64, 64), its
    crops, leftmost first.
    """

    boxes: Gray
    close: Gray | None = None
    row: Gray | None = None

    @property
    def shown(self) -> Gray:
        """Its boxes as they are shown; of a width of 0 where there are none."""
        return self.close if self.close is not None else strip(self.boxes)


class RecordQuestions:
    """Cards from a study's record. ``chosen`` limits it to some readings (an audit); ``by`` is who
    is asked, so that what two people are asked is not put to one.
    """

    def __init__(
        self, record: Record, chosen: Sequence[FieldState] | None = None, by: str = ""
    ) -> None:
        self.by = by
        self.record = record
        self.study: Study = record.study
        self.specs: Mapping[str, FieldSpec] = {spec.name: spec for spec in self.study.fields}
        self._chosen = chosen
        self._queue = Queue(self.study)
        self._seen: tuple[list[VisitState], int] | None = None

    def cards(self) -> Sequence[Card]:
        """Everything that waits, photo by photo, site and date first."""
        if self._chosen is not None:
            known = [item for item in self._chosen if item.field in self.specs]
            return [FieldCard(item, self.specs[item.field]) for item in known]
        visits, _ = self._seen = self.record.look()
        cards = self._queue.cards(visits)
        if not self.study.asked_twice:
            return cards
        with self.record.reading() as connection:
            made = looks(connection)
        return [*cards, *self._queue.second_looks(visits, made, self.by)]

    def look(self, card: FieldCard, answer: Answer, *, by: str) -> bool:
        """Keep what a person made of a field that two people are asked, before she knew more; False
        where it is none, or she has looked before.
        """
        place = card.reading.page_instance_id, card.reading.field
        if card.typed or not asked_twice(self.study, place):
            return False
        number, read = card.reading.reading_id, card.reading.read_value
        with self.record.writing() as connection:
            return add_look(connection, number, place, answer, read, by)

    def agreement(self) -> Agreement | None:
        """How far two people agreed on what both were asked; None where none was."""
        with self.record.reading() as connection:
            made = looks(connection)
        return agreement([(a.said, b.said) for a, b, *_ in (m for m in made.values() if m[1:])])

    def field(self, reading_id: int) -> FieldPictures:
        """The pictures of a field: from the record, else cut out of the kept photo. Raises
        UsageError for a reading that there is not.
        """
        images = field_images(self.record, reading_id)
        row = picture_of(images.context_png)
        close = None
        if row is not None and images.close is not None:
            left, top, right, bottom = images.close
            close = row[top:bottom, left:right]
        return FieldPictures(images.boxes, close if close is not None and close.size else None, row)

    def boxes(self, reading_id: int) -> Gray:
        """The crops of a reading's boxes alone, uint8 (n, 64, 64): no photo is opened."""
        with self.record.reading() as connection:
            return box_crops(connection, reading_id)

    def sheet(self, page_instance_id: int) -> Gray | None:
        """The whole sheet of a page in a photo, laid straight."""
        return sheet_picture(self.record, page_instance_id)

    def place_of(self, page_instance_id: int) -> tuple[int, int] | None:
        """Photo and picture in it of a page; None where there is no such page."""
        pages = (page for visit in self.visits() for page in visit.pages)
        return next(
            ((p.photo_id, p.frame) for p in pages if p.page_instance_id == page_instance_id), None
        )

    def mark(self, reading_id: int) -> tuple[float, float, float, float] | None:
        """Where a field lies on its sheet laid straight: left, top, width, height as shares."""
        with self.record.reading() as connection:
            return place_on_sheet(connection, reading_id)

    def visits(self) -> list[VisitState]:
        """Every visit as it stood when the cards were last asked for."""
        if self._seen is None:
            self._seen = self.record.look()
        return self._seen[0]

    def keep(self, reply: Reply, *, by: str, instead_of: Kept | None = None) -> Kept:
        """Store the answer in the record; it is on disk when this returns. Raises OvertakenError
        where somebody else has answered since the cards were asked for.
        """
        first = instead_of is None and self._chosen is None
        return keep(
            self.record, reply.decisions, by, reason=reply.reason, instead_of=instead_of,
            since=self._seen[1] if first and self._seen else None,
        )  # fmt: skip

    def photo(self, places: Sequence[FieldState], folder: Path) -> Path:
        """A copy of the whole photo (of a PDF the page) with its boxes drawn, in ``folder``; of
        several photos one picture, side by side.
        """
        paths = [
            write_overlays(self.record, place.photo_id, folder, frame=place.frame)[0]
            for place in places
        ]
        return paths[0] if len(paths) == 1 else side_by_side(paths, folder)
