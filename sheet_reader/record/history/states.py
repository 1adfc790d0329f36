"""How pages, fields and visits stand: what leads from a page in a photo to a row of the table.

A page was read (:class:`PageObservation`, :class:`StoredReading`) and decided on
(:class:`Decision`); both make the state of a field on its page (:class:`FieldState`), the fields of
all photos of a site and day a visit (:class:`VisitState`), and its values a row
(:class:`VisitRow`). Each holds the one before; nothing is copied.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from sheet_reader.decode.pages import FieldReading
from sheet_reader.reasons import Reasons

if TYPE_CHECKING:
    from sheet_reader.record.history.answers import Told

Status = Literal[
    "accepted", "doubted", "flagged", "confirmed", "corrected", "typed", "empty", "unreadable"
]
"""``doubted``: it held, and something learnt later speaks against it; it counts until a person
answers.
"""
ACCEPTED: tuple[Status, ...] = ("accepted", "empty")
"""What was read and taken over without a question; "not recorded" is such a reading too."""
ANSWERED: tuple[Status, ...] = ("confirmed", "corrected")
"""What a person said of what was read."""
SURE: tuple[Status, ...] = (*ACCEPTED, *ANSWERED, "typed")
"""What speaks for or against another photo."""
RECORDED: tuple[Status, ...] = ("accepted", "doubted", *ANSWERED, "typed")
"""What counts in tables, where it has a value."""
TRUSTED: tuple[Status, ...] = ("accepted", *ANSWERED, "typed")
"""What is learnt from, where it has a value."""
TYPED = "typed"
"""Stands for the layout of a page typed in by hand, what its reading was identified by, and the
status of the line in ``photos`` of a typed sheet without a photo.
"""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """The confidence (0..1) from which a field counts as accepted today: ``counts``, and ``keys``
    for a site or date. 0 takes what was accepted as it is.
    """

    counts: float = 0.0
    keys: float = 0.0


@dataclass(frozen=True, slots=True)
class Rival:
    """The value of the same field on another page (in another photo) of the visit; None: empty."""

    page_instance_id: int
    value: str | None


@dataclass(frozen=True, slots=True)
class PageObservation:
    """A page seen in a photo, with its latest run. ``photo`` is the photo's neutral name, ``frame``
    counts the pages of a PDF from 0, ``sheet`` is the site number of the printed sheet, or BLANK.

    ``site`` and ``visit_date`` are as that run read them; ``decided_site`` and ``decided_date``
    what a person said where the page has no such field; ``place`` is the site and date for which
    it counts, as far as they are known ("").
    """

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
    decided_site: str | None = None
    decided_date: str | None = None
    place: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredReading(FieldReading):
    """A field as the latest run read it, with its place in the record. ``first_sure`` is the first
    sure reading of it in this photo, by its number, with what it says (None: empty), which holds
    until a person answers; None where this is it, or there is none. ``on_sheet`` is its name on the
    sheet where it has another one now, else "".
    """

    reading_id: int
    page_instance_id: int
    first_sure: tuple[int, str | None] | None = None
    on_sheet: str = ""


@dataclass(frozen=True, slots=True)
class Decision:
    """The decision that holds for a field of a page instance; ``kind`` accept, value, empty or
    unreadable. ``overruled`` are the values of other photos that the person was told of and
    decided against, ``told`` what else she was told of.
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
    told: tuple[Told, ...] = ()


@dataclass(frozen=True, slots=True)
class FieldState:
    """A field of a page instance as it stands: ``value`` as decided, else as it was surely read,
    else as read. ``is_current``: its value is the visit's; ``needs_review``: a person is asked
    about it, and ``rivals`` are the values of other photos that the question names. Where what a
    person decided is doubted, she is asked about the reading of another photo that contradicts it.
    ``later_value`` is what a newer reading says instead of what was decided.

    Pictures come from :meth:`Record.images`, the photo from :meth:`Record.photo_path`.
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

    @property
    def field(self) -> str:
        """The field's name."""
        return self.reading.field

    @property
    def read_value(self) -> str | None:
        """As read; None: nothing."""
        return self.reading.value

    @property
    def reading_id(self) -> int:
        """The reading's number."""
        return self.reading.reading_id

    @property
    def confidence(self) -> float:
        """The probability (0..1) of what was read."""
        return self.reading.confidence

    @property
    def runner_up(self) -> str | None:
        """The next value that it may be."""
        return self.reading.runner_up

    @property
    def runner_up_confidence(self) -> float:
        """The probability (0..1) of the next value."""
        return self.reading.runner_up_confidence

    @property
    def photo(self) -> str:
        """The photo's neutral name."""
        return self.observation.photo

    @property
    def photo_id(self) -> int:
        """The photo's number."""
        return self.observation.photo_id

    @property
    def frame(self) -> int:
        """The page of the PDF, from 0."""
        return self.observation.frame

    @property
    def page_instance_id(self) -> int:
        """The page in its photo: several blank sheets in one photo or PDF share all else."""
        return self.observation.page_instance_id

    @property
    def sheet(self) -> str:
        """The site number of the printed sheet, or BLANK."""
        return self.observation.sheet

    @property
    def page(self) -> int:
        """The page of the sheet, from 1."""
        return self.observation.page

    @property
    def site(self) -> str:
        """The site for which its page counts, "" while that waits."""
        return self.observation.place[0]

    @property
    def visit_date(self) -> str:
        """The date for which its page counts, "" while that waits."""
        return self.observation.place[1]


@dataclass(frozen=True, slots=True)
class VisitState:
    """Everything known of one visit: ``fields`` of all its photos, in the study's order."""

    site: str
    visit_date: str
    pages: tuple[PageObservation, ...]
    fields: tuple[FieldState, ...]

    @property
    def serving(self) -> dict[str, FieldState]:
        """The fields whose values are the visit's, by name."""
        return {e.field: e for e in self.fields if e.is_current}


@dataclass(frozen=True, slots=True)
class VisitRow:
    """One visit: all its pages merged. ``values`` holds every field of the study that was printed
    on the pages received; None means not recorded, unreadable or still waiting (see
    ``statuses``). A page whose site or date waits is a visit of its own with "" for it.
    """

    site: str
    visit_date: str
    pages: tuple[int, ...]
    photos: tuple[str, ...]
    values: dict[str, str | None]
    statuses: dict[str, Status]
    waiting: int
    advice: tuple[str, ...] = ()
