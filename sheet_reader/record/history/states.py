"""How pages and fields stand: the values that are put together into visits."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.decode.pages import FieldReading
from sheet_reader.reasons import Reasons
from sheet_reader.record.history.answers import Told
from sheet_reader.record.history.model import Rival, Status

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


@dataclass(frozen=True, slots=True)
class PageObservation:
    """A page seen in a photo, with its latest run. ``frame`` counts the pages of a PDF from 0.

    ``decided_site`` and ``decided_date`` are what a person said where the page has no such field.
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
    """A field of a page instance as it stands. ``is_current``: its value is the visit's;
    ``needs_review``: a person is asked about it, and ``rivals`` are the values of other photos that
    the question names. Where what a person decided is doubted, she is asked about the reading of
    another photo that contradicts it.
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
class Visit:
    """Everything known of one visit: ``fields`` of all its photos, in the study's order."""

    site: str
    visit_date: str
    pages: tuple[PageObservation, ...]
    fields: tuple[FieldState, ...]
