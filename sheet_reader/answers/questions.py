"""What is asked: a card is one question for one thing. Free of any terminal or page.

A card holds all that a front end needs to put the question; :mod:`sheet_reader.review.queue` makes
the cards, and :mod:`sheet_reader.answers.hearing` takes an answer to one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from sheet_reader.reasons import Reason
from sheet_reader.record.history.states import FieldState, Status
from sheet_reader.study.study import FieldSpec


@dataclass(frozen=True, slots=True)
class Stated:
    """A field of one page as it stands: as read (``reading``), its present ``value`` (None:
    nothing), its status, and whether a person decided it. ``sure`` says whether this page, by
    itself, leaves no doubt of it.
    """

    reading: FieldState
    spec: FieldSpec
    value: str | None
    status: Status
    decided: bool = False
    sure: bool = False


@dataclass(frozen=True, slots=True)
class FieldCard:
    """A doubtful field. ``others`` are the same field in other photos of the visit, where those
    say something else: all are shown, and ``photos`` is the question whether they show one sheet.
    ``second``: somebody has answered it, and another person is asked without being told.
    ``typed`` are the names and answers of two people who said different things.
    """

    reading: FieldState
    spec: FieldSpec
    others: tuple[Stated, ...] = ()
    photos: PhotosCard | None = None
    second: bool = False
    typed: tuple[tuple[str, str], ...] = ()

    @property
    def place(self) -> FieldState:
        """The field by which the card's sheet is named."""
        return self.reading

    @property
    def key(self) -> tuple[object, ...]:
        """Tells this card from every other one."""
        kind = "second" if self.second else "settle" if self.typed else "field"
        return kind, self.reading.reading_id


@dataclass(frozen=True, slots=True)
class SeveralCard:
    """Fields of one sheet that are answered together: all as shown, or what some say instead."""

    kind: ClassVar[str]

    fields: tuple[Stated, ...]

    @property
    def place(self) -> FieldState:
        """The field by which the card's sheet is named."""
        return self.fields[0].reading

    @property
    def key(self) -> tuple[object, ...]:
        """Tells this card from every other one."""
        return self.kind, *(stated.reading.reading_id for stated in self.fields)


@dataclass(frozen=True, slots=True)
class SumCard(SeveralCard):
    """A sum that does not fit: its ``fields``, the total first, as they serve."""

    kind = "sum"

    reason: Reason


@dataclass(frozen=True, slots=True)
class AlikeCard(SeveralCard):
    """Counts of one sheet with one cause of doubt: how they are written is not clear, but each is
    likely read right.
    """

    kind = "alike"


@dataclass(frozen=True, slots=True)
class SheetInPhoto:
    """A sheet in one photo: ``site`` and ``date`` as they stand, None where they are not written
    on it, and its ``fields`` that another photo contradicts, in printed order.
    """

    place: FieldState
    site: Stated | None
    date: Stated | None
    fields: tuple[Stated, ...]

    @property
    def page_instance_id(self) -> int:
        """The page in its photo."""
        return self.place.page_instance_id


@dataclass(frozen=True, slots=True)
class PhotosCard:
    """Photos of one site and date that contradict each other, the best first: the same sheet
    again, or has one of them another date or site? Of the two that are least alike, ``differing``
    of the ``compared`` fields differ that both say surely; ``unlike``: that is too much for one
    sheet, and no answer may be the usual one.
    """

    sheets: tuple[SheetInPhoto, ...]
    differing: int = 0
    compared: int = 0
    unlike: bool = False

    @property
    def place(self) -> FieldState:
        """The field by which the card's sheet is named."""
        return self.sheets[0].place

    @property
    def key(self) -> tuple[object, ...]:
        """Tells this card from every other one."""
        return "photos", *sorted(sheet.page_instance_id for sheet in self.sheets)


@dataclass(frozen=True, slots=True)
class OutsideCard:
    """Fields of one sheet that lie outside the picture: ask for another photo, or read on."""

    fields: tuple[FieldCard, ...]

    @property
    def place(self) -> FieldState:
        """The field by which the card's sheet is named."""
        return self.fields[0].reading

    @property
    def key(self) -> tuple[object, ...]:
        """Tells this card from every other one."""
        return "outside", self.place.page_instance_id


Card = FieldCard | AlikeCard | SumCard | PhotosCard | OutsideCard
