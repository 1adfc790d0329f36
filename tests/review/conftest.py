"""A desk in memory and a person at a keyboard that is a list of lines."""

import io
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from made_rows import waiting
from rich.console import Console

from sheet_reader.reasons import in_words
from sheet_reader.record.model import Answer
from sheet_reader.review.model import Question, Shown
from sheet_reader.review.session import Outcome, Review
from sheet_reader.study.model import Study
from sheet_reader.study.reader import read_study

SAMPLES = Path(__file__).parents[2] / "samples"


class MemoryDesk:
    """Keeps every answer in ``kept``: (field, answer, blind)."""

    def __init__(self, study: Study, questions: list[Question]) -> None:
        self.study = study
        self.asked = questions
        self.kept: list[tuple[str, Answer, bool]] = []
        self.status = "flagged"

    def questions(self) -> list[Question]:
        return self.asked

    def show(self, question: Question, field: str) -> Shown:
        spec = next(s for s in self.study.fields if s.name == field)
        return Shown(spec, question.reading.value, self.status, np.zeros((2, 64, 64), np.uint8))

    def keep(self, question: Question, answer: Answer, *, by: str, blind: bool) -> None:
        assert by == "Kim"
        self.kept.append((question.reading.field, answer, blind))

    def photo(self, question: Question, folder: Path) -> Path:
        path = folder / f"{question.reading.photo_id}.png"
        path.write_bytes(b"picture")
        return path


class Sitting:
    """Runs reviews and remembers what was on the screen."""

    def __init__(self, study: Study) -> None:
        self.study = study
        self.launched: list[Path] = []
        self.screen = ""
        self.shown_as = "flagged"

    def question(
        self, field: str, *, together: tuple[str, ...] = (), **changes: object
    ) -> Question:
        spec = next(s for s in self.study.fields if s.name == field)
        usual = {
            "reading_id": hash((field, str(changes))),
            "field": field,
            "reasons": in_words("not sure enough of 14"),
        }
        return Question(waiting(spec.kind, **(usual | changes)), spec, together)

    def run(
        self, questions: list[Question], typed: list[str], *, audit: bool = False
    ) -> tuple[Outcome, MemoryDesk]:
        desk = MemoryDesk(self.study, questions)
        desk.status = self.shown_as
        lines = iter(typed)
        screen = io.StringIO()

        def read_line() -> str:
            try:
                return next(lines)
            except StopIteration:
                raise EOFError from None

        review = Review(
            desk=desk,
            study=self.study,
            console=Console(file=screen, width=80, markup=False, highlight=False),
            read_line=read_line,
            launch=lambda path: self.launched.append(path) or 0,  # type: ignore[func-returns-value]
            by="Kim",
            today=date(2026, 6, 1),
            mode="plain",
            audit=audit,
        )
        outcome = review.run()
        self.screen = screen.getvalue()
        return outcome, desk


@pytest.fixture(scope="session")
def bean_study() -> Study:
    return read_study(SAMPLES / "bean_tips")


@pytest.fixture
def sitting(bean_study: Study) -> Sitting:
    return Sitting(bean_study)
