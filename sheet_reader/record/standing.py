"""How pages and fields stand: the values that are put together into visits."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.record.model import Rival, Status


@dataclass(frozen=True, slots=True)
class Seen:
    """A page seen in a photo, with its latest look. ``frame`` counts the pages of a PDF from 0."""

    sighting_id: int
    photo_id: int
    photo: str
    frame: int
    layout: str
    sheet: str
    page: int
    site: str | None
    visit_date: str | None
    px_per_mm: float
    blur_mm: float
    hidden_boxes: int
    advice: str
    model: str

    @property
    def called(self) -> str:
        """The photo's name, with the page where it lies further on in a PDF."""
        return f"page {self.frame + 1} of {self.photo}" if self.frame else self.photo


@dataclass(frozen=True, slots=True)
class Read:
    """A field as the latest look read it."""

    reading_id: int
    sighting_id: int
    field: str
    value: str | None
    confidence: float
    status: Status
    reason: str
    runner_up: str | None
    runner_up_confidence: float


@dataclass(frozen=True, slots=True)
class Decided:
    """The decision that holds for a field of a sighting; ``kind`` accept, value, empty or
    unreadable. ``overruled`` are the values of other photos that the person was told of and
    decided against.
    """

    decision_id: int
    sighting_id: int
    field: str
    reading_id: int
    kind: str
    value: str | None
    by: str
    blind: bool
    overruled: frozenset[Rival] = frozenset()


@dataclass(frozen=True, slots=True)
class Effective:
    """A field of a sighting as it stands. ``serves``: its value is the visit's; ``asks``: a
    person is asked about it, and ``rivals`` are the values of other photos that the question names.
    """

    seen: Seen
    read: Read
    decided: Decided | None
    value: str | None
    status: Status
    reason: str
    serves: bool = True
    asks: bool = False
    later_value: str | None = None
    rivals: tuple[Rival, ...] = ()


@dataclass(frozen=True, slots=True)
class Visit:
    """Everything known of one visit: ``fields`` of all its photos, in the study's order."""

    site: str
    visit_date: str
    seen: tuple[Seen, ...]
    fields: tuple[Effective, ...]
