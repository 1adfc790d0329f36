"""How pages and fields stand: the values that are put together into visits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sheet_reader.decode.types import FieldReading
from sheet_reader.reasons import Reasons

Status = Literal["accepted", "flagged", "confirmed", "corrected", "empty", "unreadable"]


@dataclass(frozen=True, slots=True)
class Rival:
    """The value of the same field on another page (in another photo) of the visit; None: empty."""

    page_instance_id: int
    value: str | None


@dataclass(frozen=True, slots=True)
class PageObservation:
    """A page seen in a photo, with its latest run. ``frame`` counts the pages of a PDF from 0."""

    page_instance_id: int
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


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredReading(FieldReading):
    """A field as the latest run read it, with its place in the record."""

    reading_id: int
    page_instance_id: int


@dataclass(frozen=True, slots=True)
class Decision:
    """The decision that holds for a field of a page instance; ``kind`` accept, value, empty or
    unreadable. ``overruled`` are the values of other photos that the person was told of and
    decided against.
    """

    decision_id: int
    page_instance_id: int
    field: str
    reading_id: int
    kind: str
    value: str | None
    by: str
    blind: bool
    overruled: frozenset[Rival] = frozenset()


@dataclass(frozen=True, slots=True)
class FieldState:
    """A field of a page instance as it stands. ``is_current``: its value is the visit's;
    ``needs_review``: a person is asked about it, and ``rivals`` are the values of other photos that
    the question names.
    """

    observation: PageObservation
    reading: StoredReading
    decision: Decision | None
    value: str | None
    status: Status
    reasons: Reasons
    is_current: bool = True
    needs_review: bool = False
    later_value: str | None = None
    rivals: tuple[Rival, ...] = ()


@dataclass(frozen=True, slots=True)
class FieldOnVisit:
    """A field as it stands, with the site and date of its visit as known so far ("" while they
    wait). What is asked of it is answered by its parts; nothing is copied.
    """

    state: FieldState
    site: str
    visit_date: str

    @property
    def photo(self) -> str:
        """The photo's neutral name."""
        return self.state.observation.photo

    @property
    def photo_id(self) -> int:
        """The photo's number."""
        return self.state.observation.photo_id

    @property
    def page_instance_id(self) -> int:
        """The page in its photo: several blank sheets in one photo or PDF share all else."""
        return self.state.observation.page_instance_id

    @property
    def frame(self) -> int:
        """The page of the PDF, from 0."""
        return self.state.observation.frame

    @property
    def sheet(self) -> str:
        """The site number of the printed sheet, or BLANK."""
        return self.state.observation.sheet

    @property
    def page(self) -> int:
        """The page of the sheet, from 1."""
        return self.state.observation.page

    @property
    def reading_id(self) -> int:
        """The reading's number."""
        return self.state.reading.reading_id

    @property
    def field(self) -> str:
        """The field's name."""
        return self.state.reading.field

    @property
    def confidence(self) -> float:
        """The probability (0..1) of what was read."""
        return self.state.reading.confidence

    @property
    def runner_up(self) -> str | None:
        """The next value that it may be."""
        return self.state.reading.runner_up

    @property
    def runner_up_confidence(self) -> float:
        """The probability (0..1) of the next value."""
        return self.state.reading.runner_up_confidence

    @property
    def reasons(self) -> Reasons:
        """Why it is asked."""
        return self.state.reasons


@dataclass(frozen=True, slots=True)
class Visit:
    """Everything known of one visit: ``fields`` of all its photos, in the study's order."""

    site: str
    visit_date: str
    pages: tuple[PageObservation, ...]
    fields: tuple[FieldState, ...]
