"""A source in memory and a person at a keyboard that is a list of lines."""

import io
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from made_rows import waiting
from new_records import copied_records as copied_records
from new_records import new_record as new_record
from rich.console import Console

from sheet_reader.answers.questions import (
    AlikeCard,
    Card,
    FieldCard,
    OutsideCard,
    PhotosCard,
    Stated,
    SumCard,
)
from sheet_reader.answers.replies import Reply
from sheet_reader.reasons import in_words
from sheet_reader.record.history.answers import Answer, Kept
from sheet_reader.record.history.states import FieldState
from sheet_reader.review.session import Outcome, Review
from sheet_reader.review.source import FieldPictures
from sheet_reader.review.terminal import Terminal
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study

SAMPLES = Path(__file__).parents[2] / "samples"


BOXES = np.full((2, 64, 64), 200, np.uint8)


class MemoryQuestions:
    """Keeps every answer in ``kept``: (field, answer, blind)."""

    def __init__(self, study: Study, cards: list[Card]) -> None:
        self.study = study
        self.asked = list(cards)
        self.kept: list[tuple[str, Answer, bool]] = []
        self.replies: list[Reply] = []
        self.names = {
            reading.reading_id: reading.field
            for reading in map(_readings, cards)
            for reading in reading
        }

    def cards(self) -> list[Card]:
        return self.asked

    def field(self, _reading: int) -> FieldPictures:
        return FieldPictures(BOXES)

    def sheet(self, _page: int) -> None:
        return None

    def keep(self, reply: Reply, *, by: str, **_instead_of: Kept | None) -> Kept:
        assert by == "Kim"
        self.replies.append(reply)
        done = {answer.reading_id for answer in reply.fields}
        done |= {-1} if reply.sheet else set()
        self.asked = [c for c in self.asked if not done & {r.reading_id for r in _readings(c)}]
        if reply.sheet:
            self.asked = [
                c for c in self.asked if c.place.page_instance_id != reply.sheet.page_instance_id
            ]
        for answer in reply.fields:
            self.kept.append((self.names[answer.reading_id], answer.answer, answer.blind))
        return Kept((len(self.replies),))

    def look(self, _card: FieldCard, _answer: Answer, *, by: str) -> bool:
        assert by == "Kim"
        return False

    def photo(self, places: Sequence[FieldState], folder: Path) -> Path:
        path = folder / f"{places[0].photo_id}.png"
        path.write_bytes(b"picture")
        return path


def _readings(card: Card) -> list[FieldState]:
    if isinstance(card, SumCard | AlikeCard):
        return [stated.reading for stated in card.fields]
    if isinstance(card, PhotosCard):
        return [f.reading for s in card.sheets for f in (*s.fields, s.date, s.site) if f]
    if isinstance(card, OutsideCard):
        return [field.reading for field in card.fields]
    return [card.reading]


class Sitting:
    """Runs reviews and remembers what was on the screen."""

    def __init__(self, study: Study, folder: Path) -> None:
        self.study = study
        self.launched: list[Path] = []
        self.screen = ""
        self.folder = folder
        self.mode = "plain"
        self.size = (80, 24)

    def question(self, field: str, **changes: object) -> FieldCard:
        spec = next(s for s in self.study.fields if s.name == field)
        usual = {
            "reading_id": hash((field, str(changes))),
            "field": field,
            "reasons": in_words("not sure enough of 14"),
        }
        return FieldCard(waiting(**(usual | changes)), spec)

    def stated(self, field: str, value: str | None, **changes: object) -> Stated:
        """A field as it stands, surely read."""
        card = self.question(field, value=value, **changes)
        status = "empty" if value is None else "accepted"
        return Stated(card.reading, card.spec, value, status, sure=True)  # type: ignore[arg-type]

    def run(
        self, questions: list[Card], typed: list[str], *, audit: bool = False
    ) -> tuple[Outcome, MemoryQuestions]:
        source = MemoryQuestions(self.study, questions)
        lines = iter(typed)
        screen = io.StringIO()

        def read_line() -> str:
            try:
                return next(lines)
            except StopIteration:
                raise EOFError from None

        width, height = self.size
        terminal = Terminal(
            source,  # type: ignore[arg-type]
            Console(file=screen, width=width, height=height, markup=False, highlight=False),
            read_line,
            lambda path: self.launched.append(path) or 0,  # type: ignore[func-returns-value]
            date(2026, 6, 1),
            self.mode,  # type: ignore[arg-type]
            self.folder,
        )
        outcome = Review(terminal, "Kim", audit).run()
        self.screen = screen.getvalue()
        return outcome, source


@pytest.fixture(scope="session")
def bean_study() -> Study:
    return read_study(SAMPLES / "bean_tips")


@pytest.fixture
def sitting(bean_study: Study, tmp_path: Path) -> Sitting:
    return Sitting(bean_study, tmp_path)
