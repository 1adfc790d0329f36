"""Ask about a sum that does not fit: as written, or which of its fields says something else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rich.console import RenderableType
from rich.text import Text

from sheet_reader.record.history.answers import Answer
from sheet_reader.review import screen
from sheet_reader.review.ask_several import SeveralQuestion
from sheet_reader.review.cards import SumCard
from sheet_reader.review.decisions import Reply, off_after, sum_reply
from sheet_reader.review.talk import titled


@dataclass
class SumQuestion(SeveralQuestion):
    """One sum and the talk about it."""

    card: SumCard

    def _title(self) -> Text:
        return titled(f"{self.card.fields[0].spec.label}: the sum does not fit")

    def _why(self) -> str:
        return screen.reasons_line((self.card.reason,))

    def _cell(self, number: int, picture: RenderableType | None) -> RenderableType:
        what = "total: " if number == 1 else ""
        return screen.numbered(number, self.card.fields[number - 1], what, picture)

    def _reply(self, said: Mapping[int, Answer]) -> Reply:
        return sum_reply(self.card, said)

    def _odd(self, said: Mapping[int, Answer]) -> list[str]:
        odd = super()._odd(said)
        if (off := off_after(self.card, said)) is not None:
            odd.append(f"the total would be {off['total']}, the parts add to {off['parts']}")
        return odd
