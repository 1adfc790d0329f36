"""The conversation of a review: question by question, every answer kept as it is given."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Literal

from rich.console import Console

from sheet_reader.record.model import Accept, Answer, LeftEmpty, Unreadable, Value
from sheet_reader.review import screen
from sheet_reader.review.answers import Refusal, answer_text, answer_words, understand
from sheet_reader.review.blind import keyed_blind
from sheet_reader.review.model import Desk, Question
from sheet_reader.review.pictures import PictureMode
from sheet_reader.study.model import Study

Move = Literal["back", "stop"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a review ended: fields answered in it, fields that still wait, and how they went."""

    answered: int
    waiting: int
    confirmed: int
    corrected: int


@dataclass
class Review:
    """One sitting. ``read_line`` gives the next typed line and raises EOFError at the end;
    ``launch`` opens a picture in the system's viewer and returns 0 if it could. In an ``audit``
    every field is typed from the picture before the reading is shown.
    """

    desk: Desk
    study: Study
    console: Console
    read_line: Callable[[], str]
    launch: Callable[[Path], int]
    by: str
    today: date
    mode: PictureMode = "blocks"
    audit: bool = False
    given: dict[int, Answer] = field(default_factory=dict)
    _settled: dict[tuple[int, str], str] = field(default_factory=dict)

    def run(self) -> Outcome:
        """Ask every question until the last is answered or the person stops.

        An answer may raise or close other questions (a settled site joins two photos), so the desk
        is asked anew after each.
        """
        questions = list(self.desk.questions())
        place = 0
        with tempfile.TemporaryDirectory(prefix="sheet-reader-") as folder:
            self._folder = Path(folder)
            while place < len(questions):
                reply = self._ask(questions[place], place + 1, len(questions))
                if reply == "stop":
                    break
                if reply == "back":
                    place = self._one_back(place)
                    continue
                changed = self._keep(questions[place], reply)
                place += 1
                if changed:
                    questions = self._anew(questions, place)
        return self._outcome(len(questions))

    def _anew(self, questions: list[Question], place: int) -> list[Question]:
        """The questions up to ``place``, those after it that were answered before (the person went
        back), and what the desk asks now; none that is no longer open. A sum that was shown
        together goes on being shown together.
        """
        before = questions[:place]
        after = [q for q in questions[place:] if q.reading.reading_id in self.given]
        known = {q.reading.reading_id for q in before + after}
        together = {q.reading.reading_id: q.together for q in questions}
        now = [q for q in self.desk.questions() if q.reading.reading_id not in known]
        still = [replace(q, together=together.get(q.reading.reading_id, q.together)) for q in now]
        return before + after + still

    def _one_back(self, place: int) -> int:
        if place == 0:
            self.console.print("This is the first question.")
        return max(0, place - 1)

    def _keep(self, question: Question, answer: Answer) -> bool:
        """Keep an answer; whether it is another one than before."""
        key = question.reading.reading_id
        if self.given.get(key) == answer:
            return False
        self.desk.keep(question, answer, by=self.by, blind=self.audit)
        self.given[key] = answer
        if question.spec.kind in ("site", "date"):
            text = answer_text(answer, question.reading.value) or ""
            self._settled[question.reading.sighting_id, question.spec.kind] = text
        return True

    def _outcome(self, total: int) -> Outcome:
        answers = list(self.given.values())
        return Outcome(
            answered=len(answers),
            waiting=total - len(answers),
            confirmed=sum(isinstance(answer, Accept) for answer in answers),
            corrected=sum(isinstance(answer, Value) for answer in answers),
        )

    def _ask(self, question: Question, position: int, total: int) -> Answer | Move:
        """Show the question and talk until there is an answer or a move."""
        blind = self.audit or keyed_blind(question, self.study)
        before = self.given.get(question.reading.reading_id)
        self._show(question, position, total, blind=blind and before is None)
        if before is not None:
            self.console.print(f"Answered before: {answer_words(before, question.reading.value)}")
        while True:
            offered = _offer(question, before, blind=blind)
            self.console.print(screen.keys(offered))
            typed = self._line()
            if typed is None or typed == screen.STOP:
                return "stop"
            if typed == screen.BACK:
                return "back"
            reply = self._understand(typed, question, before, blind=blind)
            if reply is not None:
                return reply

    def _show(self, question: Question, position: int, total: int, *, blind: bool) -> None:
        out = self.console
        out.print()
        reading = question.reading
        site = self._settled.get((reading.sighting_id, "site"), reading.site)
        visit_date = self._settled.get((reading.sighting_id, "date"), reading.visit_date)
        out.print(screen.head(question, position, total, site, visit_date))
        asked = question.spec.name
        if question.together:
            fields = [self.desk.show(question, name) for name in question.together]
            out.print("This sum does not hold; here are all its fields:")
            out.print(screen.sum_panel(fields, asked, out, self.mode))
        else:
            out.print(screen.boxes(self.desk.show(question, asked), out, self.mode))
        out.print(screen.what_was_read(question, blind=blind))

    def _line(self) -> str | None:
        self.console.print("> ", end="")
        try:
            typed = self.read_line().strip()
        except EOFError:
            return None
        return typed.lower() if typed.isascii() else typed

    def _understand(
        self, typed: str, question: Question, before: Answer | None, *, blind: bool
    ) -> Answer | None:
        """The answer that ``typed`` makes, or None after saying what is missing."""
        if typed == screen.HELP:
            self.console.print(screen.MORE_HELP, highlight=False)
            return None
        if typed == screen.WHOLE_PHOTO:
            self._show_photo(question)
            return None
        if typed == screen.NOTHING:
            return LeftEmpty()
        if typed == screen.UNREADABLE:
            return Unreadable()
        if typed == "":
            return self._enter(question, before, blind=blind)
        return self._typed(typed, question, blind=blind)

    def _enter(self, question: Question, before: Answer | None, *, blind: bool) -> Answer | None:
        if before is not None:
            return before
        if question.reading.value is None:
            self.console.print(
                f"Nothing was read here. Type what you see, {screen.NOTHING} or "
                f"{screen.UNREADABLE}."
            )
            return None
        if blind:
            self.console.print("This field is typed from the picture; the reading comes after.")
            return None
        return self._weigh(question.reading.value, question, blind=False, accept=True)

    def _typed(self, typed: str, question: Question, *, blind: bool) -> Answer | None:
        return self._weigh(typed, question, blind=blind, accept=False)

    def _weigh(self, typed: str, question: Question, *, blind: bool, accept: bool) -> Answer | None:
        """An answer if ``typed`` is a value and nothing is odd about it, else a second look.

        ``accept`` is a value taken as read: its range has been told in the reason already.
        """
        value = understand(typed, question.spec, self.study, self.today)
        if isinstance(value, Refusal):
            self.console.print(f"{value.message[0].upper()}{value.message[1:]}.")
            return None
        read = question.reading.value
        doubts = [value.doubt] if value.doubt and not accept else []
        if blind and value.text == read:
            self.console.print(f"The reader saw {value.text}, too.")
            doubts = []
        elif blind:
            seen = f"{read} ({screen.percent(question.reading.confidence)})"
            doubts.append(f"the reader saw {seen}, you typed {value.text}")
        if off := self._sum_still_off(question, value.text):
            doubts.append(off)
        if not doubts:
            return Accept() if value.text == read else Value(value.text)
        self.console.print(f"{'; '.join(doubts)}.", highlight=False)
        return self._once_more(value.text, question)

    def _sum_still_off(self, question: Question, text: str) -> str:
        """What remains wrong with a disputed sum once its last field is answered, or ""."""
        values = {}
        for name in question.together:
            shown = self.desk.show(question, name)
            own = name == question.spec.name
            if shown.status == "flagged" and not own:
                return ""
            values[name] = text if own else shown.value
        if not values or not all(value and value.isdigit() for value in values.values()):
            return ""
        total, *parts = (int(value) for value in values.values() if value)
        if total == sum(parts):
            return ""
        return f"the total would be {total}, the parts add to {sum(parts)}"

    def _once_more(self, text: str, question: Question) -> Answer | None:
        """A second look at an unusual value: Enter keeps it, a value typed now stands."""
        self.console.print(f"Enter keeps {text}; or type what it says; - asks again.")
        typed = self._line()
        if typed is None or typed == "-":
            return None
        value = understand(typed or text, question.spec, self.study, self.today)
        if isinstance(value, Refusal):
            self.console.print(f"{value.message[0].upper()}{value.message[1:]}.")
            return None
        return Accept() if value.text == question.reading.value else Value(value.text)

    def _show_photo(self, question: Question) -> None:
        path = self.desk.photo(question, self._folder)
        if self.launch(path) == 0:
            self.console.print("The photo opens in your picture viewer.")
        else:
            self.console.print(f"There is no picture viewer; until you stop it lies at {path}")


def _offer(question: Question, before: Answer | None, *, blind: bool) -> str | None:
    if before is not None:
        return f"keep {answer_words(before, question.reading.value)}"
    if blind or question.reading.value is None:
        return None
    return f"{question.reading.value} is right"
