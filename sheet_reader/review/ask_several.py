"""Ask about several fields of one sheet: all as shown, or what some of them say instead."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from rich.console import Console, RenderableType
from rich.text import Text

from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.answers import Answer, Illegible, LeftEmpty, Value
from sheet_reader.record.history.states import FieldState
from sheet_reader.review import screen
from sheet_reader.review.answers import Refusal, understand
from sheet_reader.review.cards import AlikeCard, SumCard
from sheet_reader.review.decisions import Reply, alike_reply
from sheet_reader.review.talk import Move, Said, Talk, titled

TEXT_LINES, ALIKE_LINES = REVIEW.sum_lines, REVIEW.alike_lines
CELL_LINES = REVIEW.cell_lines


@dataclass
class SeveralQuestion:
    """Fields shown by number and the talk about them; ``before`` is the answer given earlier."""

    talk: Talk
    card: SumCard | AlikeCard
    before: Reply | None = None

    def ask(self, position: int, total: int) -> Reply | Move:
        """Show the question and talk until there is an answer or a move."""
        self._show(position, total)
        offered = f"keep {self.before.said}" if self.before else self._all_stand()
        while True:
            heard = self.talk.ask(
                [
                    ("Enter", offered),
                    (f"1-{len(self.card.fields)}", "this one says something else"),
                ],
                self._about[: self._rows_shown],
            )
            if not isinstance(heard, Said):
                return heard
            reply = self._understood(heard.text, {})
            if reply is not None:
                return reply

    _rows_shown = 1
    """Of so many fields the whole rows are shown on a key."""
    _every_one = False
    """Whether a picture of every field must be shown before all are taken as they stand."""

    def _all_stand(self) -> str:
        return "as written"

    def _title(self) -> Text:
        raise NotImplementedError

    def _why(self) -> str:
        raise NotImplementedError

    def _cell(self, number: int, picture: RenderableType | None) -> RenderableType:
        raise NotImplementedError

    def _reply(self, said: Mapping[int, Answer]) -> Reply:
        raise NotImplementedError

    @property
    def _about(self) -> list[FieldState]:
        return [stated.reading for stated in self.card.fields]

    def _show(self, position: int, total: int) -> None:
        talk, out = self.talk, self.talk.console
        out.print()
        out.print(screen.head(self._title(), self._about[0], position, total))
        rows = self._rows_each()
        cells: list[RenderableType] = []
        before, missing = talk.seen, 0
        for number, stated in enumerate(self.card.fields, start=1):
            drawn = talk.picture(talk.desk.field(stated.reading), rows, out.width // 2 - 2)
            cells.append(self._cell(number, drawn))
            missing += drawn is None
        if missing and self._every_one:
            talk.seen = before
        out.print(screen.in_columns(cells, out))
        talk.say(self._why())
        if self.before is not None:
            out.print(f"Answered before: {self.before.said}")

    def _rows_each(self) -> int:
        lines = (len(self.card.fields) + 1) // 2
        rows = screen.rows_left(self.talk.console, TEXT_LINES + lines)
        return int(max(screen.LEAST_ROWS, rows // lines))

    def _understood(self, typed: str, said: Mapping[int, Answer]) -> Reply | Move | None:
        """The answer that ``typed`` makes beside what was ``said`` of other fields."""
        if typed == "":
            return self._enter(said)
        changed, only = dict(said), None
        for part in re.split(r" *[,;] *", typed.strip(" ,;")):
            match = re.fullmatch(r"([0-9]+)(?:[ =:]+(\S+))?", part)
            if match is None or not 1 <= int(match[1]) <= len(self.card.fields):
                self.talk.say(
                    f"type the number of the field that was misread (1 to {len(self.card.fields)}) "
                    f"and what it says, e.g. 2 14, or 2 14, 3 5 for two; 2 {screen.NOTHING} or "
                    f"2 {screen.UNREADABLE}."
                )
                return None
            place = int(match[1]) - 1
            only = match[2] or self._typed(place)
            if only in ("stop", None):
                return "stop" if only else None
            answer = self._answer(place, only)
            if answer is None:
                return None
            changed[place] = answer
        return self._checked(changed)

    def _enter(self, said: Mapping[int, Answer]) -> Reply | None:
        if not said and self.before is not None:
            return self.before
        return None if not said and self.talk.unseen() else self._reply(said)

    def _typed(self, place: int) -> str | None:
        """What a field says, asked for by itself; "stop", or None for back."""
        stated = self.card.fields[place]
        self.talk.show(self.talk.desk.field(stated.reading).close, 8)
        keys = [
            ("digits", "what it says"),
            (screen.NOTHING, "nothing written"),
            (screen.UNREADABLE, "can't be read"),
        ]
        heard = self.talk.ask(keys, [stated.reading], f"{stated.spec.label}: what does it say?")
        if not isinstance(heard, Said):
            return "stop" if heard == "stop" else None
        return heard.text or None

    def _answer(self, place: int, typed: str) -> Answer | None:
        if typed in (screen.NOTHING, screen.UNREADABLE):
            return LeftEmpty() if typed == screen.NOTHING else Illegible()
        value = understand(typed, self.card.fields[place].spec, self.talk.study, self.talk.today)
        if isinstance(value, Refusal):
            self.talk.say(f"{value.message}.")
            return None
        return Value(value.text)

    def _odd(self, said: Mapping[int, Answer]) -> list[str]:
        """What is unusual about an answer and is asked once more."""
        return [doubt for place, answer in said.items() if (doubt := self._doubt(place, answer))]

    def _checked(self, said: Mapping[int, Answer]) -> Reply | Move | None:
        """A second look where something about the answer is odd."""
        odd = self._odd(said)
        if not odd:
            return self._reply(said)
        for doubt in odd:
            self.talk.say(f"{doubt}.")
        count = f"1-{len(self.card.fields)}"
        keys = [("Enter", "keep it so"), (count, "another one, too"), ("-", "ask again")]
        heard = self.talk.ask(keys, self._about[:1])
        if isinstance(heard, Said):
            return None if heard.text == "-" else self._understood(heard.text, said)
        return heard if heard == "stop" else None

    def _doubt(self, place: int, answer: Answer) -> str:
        if not isinstance(answer, Value):
            return ""
        spec = self.card.fields[place].spec
        value = understand(answer.text, spec, self.talk.study, self.talk.today)
        return "" if isinstance(value, Refusal) else value.doubt


def rows_each(console: Console, fields: int) -> int:
    """Terminal rows for the picture of each of several counts, two side by side."""
    lines = (fields + 1) // 2
    rows = screen.rows_left(console, ALIKE_LINES + CELL_LINES * lines)
    return int(max(screen.LEAST_ROWS, rows // lines))


@dataclass
class AlikeQuestion(SeveralQuestion):
    """Counts of one sheet that are each likely read right."""

    card: AlikeCard

    _rows_shown = REVIEW.most_alike
    _every_one = True

    def _rows_each(self) -> int:
        return rows_each(self.talk.console, len(self.card.fields))

    def _all_stand(self) -> str:
        return f"all {len(self.card.fields)} are right"

    def _title(self) -> Text:
        return titled(f"{len(self.card.fields)} counts of one sheet, each read with some doubt")

    def _why(self) -> str:
        return "look at each: all may be right, or some may not."

    def _cell(self, number: int, picture: RenderableType | None) -> RenderableType:
        return screen.likely(number, self.card.fields[number - 1], picture)

    def _reply(self, said: Mapping[int, Answer]) -> Reply:
        return alike_reply(self.card, said)
