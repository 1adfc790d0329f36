"""Values of the review room: what is asked, and who keeps the answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sheet_reader.record.lines import Waiting
from sheet_reader.record.model import Answer
from sheet_reader.study.model import FieldSpec


@dataclass(frozen=True, slots=True)
class Question:
    """One field that waits for a person: the reading, its field, and the sum it belongs to.

    ``together`` names the fields of a sum that does not hold, the total first, this one among
    them; empty otherwise.
    """

    reading: Waiting
    spec: FieldSpec
    together: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Shown:
    """A field's boxes as photographed, uint8 (n, 64, 64), leftmost first, and how it stands.

    ``context_png`` shows the place around them, b"" where it cannot be had.
    """

    spec: FieldSpec
    value: str | None
    status: str
    boxes: NDArray[np.uint8]
    context_png: bytes = b""


class Desk(Protocol):
    """Where questions come from and answers go."""

    def questions(self) -> Sequence[Question]:
        """All fields that wait, sheet by sheet, in printed order."""

    def show(self, question: Question, field: str) -> Shown:
        """The boxes and present value of ``field`` on the question's page."""

    def keep(self, question: Question, answer: Answer, *, by: str, blind: bool) -> None:
        """Store the answer; it is on disk when this returns."""

    def photo(self, question: Question, folder: Path) -> Path:
        """Write a copy of the whole photo with its boxes drawn into ``folder``, no metadata."""
