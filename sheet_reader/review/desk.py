"""The record as a desk of cards: what waits, how it looks, and where answers are kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from sheet_reader.record.answering import Kept, keep
from sheet_reader.record.lines import Waiting
from sheet_reader.record.store import Record
from sheet_reader.review.cards import Card, FieldCard
from sheet_reader.review.decisions import Reply
from sheet_reader.review.model import Gray, Pictures
from sheet_reader.review.overlay import side_by_side, write_overlays
from sheet_reader.review.pictures import picture_of
from sheet_reader.review.queue import cards_of
from sheet_reader.study.model import FieldSpec, Study


class RecordDesk:
    """Cards from a study's record. ``chosen`` limits it to some readings (an audit)."""

    def __init__(self, record: Record, chosen: Sequence[Waiting] | None = None) -> None:
        self.record = record
        self.study: Study = record.study
        self.specs: Mapping[str, FieldSpec] = {spec.name: spec for spec in self.study.fields}
        self._chosen = chosen

    def cards(self) -> Sequence[Card]:
        """Everything that waits, photo by photo, site and date first."""
        if self._chosen is None:
            return cards_of(self.study, self.record.state())
        known = [item for item in self._chosen if item.field in self.specs]
        return [FieldCard(item, self.specs[item.field]) for item in known]

    def field(self, reading: Waiting) -> Pictures:
        """The pictures of a field: from the record, else cut out of the kept photo."""
        images = self.record.images(reading.reading_id)
        row = picture_of(images.context_png)
        close = None
        if row is not None and images.close is not None:
            left, top, right, bottom = images.close
            close = row[top:bottom, left:right]
        return Pictures(images.boxes, close if close is not None and close.size else None, row)

    def sheet(self, place: Waiting) -> Gray | None:
        """The whole sheet, laid straight."""
        return self.record.sheet_picture(place.page_instance_id)

    def keep(self, reply: Reply, *, by: str, instead_of: Kept | None = None) -> Kept:
        """Store the answer in the record; it is on disk when this returns."""
        return keep(self.record, reply.fields, by, sheet=reply.sheet, instead_of=instead_of)

    def photo(self, places: Sequence[Waiting], folder: Path) -> Path:
        """A copy of the whole photo (of a PDF the page) with its boxes drawn, in ``folder``; of
        several photos one picture, side by side.
        """
        paths = [
            write_overlays(self.record, place.photo_id, folder, frame=place.frame)[0]
            for place in places
        ]
        return paths[0] if len(paths) == 1 else side_by_side(paths, folder)
