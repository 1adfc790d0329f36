"""Values of the review room: what is shown of a field, and where cards come from and answers go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sheet_reader.record.history.answering import Kept
from sheet_reader.record.history.answers import Answer
from sheet_reader.record.history.states import FieldState
from sheet_reader.review.cards import Card, FieldCard
from sheet_reader.review.decisions import Reply

Gray = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Pictures:
    """What can be seen of a field: ``close`` its boxes with half a box around, ``row`` the whole
    row with label and tally space, each grey uint8 (H, W) or None; ``boxes`` uint8 (n, 64, 64), its
    crops, leftmost first.
    """

    boxes: Gray
    close: Gray | None = None
    row: Gray | None = None

    @property
    def any(self) -> bool:
        """Whether there is anything to see."""
        return self.close is not None or len(self.boxes) > 0


class Desk(Protocol):
    """Where cards come from and answers go."""

    def cards(self) -> Sequence[Card]:
        """Everything that waits now, in the order in which it is asked."""

    def field(self, reading: FieldState) -> Pictures:
        """The pictures of a field on its page."""

    def sheet(self, place: FieldState) -> Gray | None:
        """The whole sheet, laid straight; None where the photo can't be opened."""

    def keep(self, reply: Reply, *, by: str, instead_of: Kept | None = None) -> Kept:
        """Keep an answer; it is on disk when this returns. With ``instead_of`` an earlier answer
        is taken back with it.
        """

    def look(self, card: FieldCard, answer: Answer, *, by: str) -> bool:
        """Keep what a person made of a field that two people are asked, before she knew more."""

    def photo(self, places: Sequence[FieldState], folder: Path) -> Path:
        """Write a copy of the whole photo with its boxes drawn, of several side by side, into
        ``folder``, without metadata.
        """
