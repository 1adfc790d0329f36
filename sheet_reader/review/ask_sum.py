"""Ask about a sum that does not fit: as written, or which of its fields says something else."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from rich.console import RenderableType

from sheet_reader.record.lines import Waiting
from sheet_reader.record.model import Answer, LeftEmpty, Unreadable, Value
from sheet_reader.review import screen
from sheet_reader.review.answers import Refusal, understand
from sheet_reader.review.cards import SumCard
from sheet_reader.review.decisions import Reply, does_not_fit, sum_after, sum_reply
from sheet_reader.review.parameters import REVIEW
from sheet_reader.review.talk import Move, Said, Talk, titled

TEXT_LINES = REVIEW.sum_lines


@dataclass
class SumQuestion:
    """One sum and the talk about it; ``before`` is the answer given earlier, if any."""

    talk: Talk
    card: SumCard
    before: Reply | None = None

    def ask(self, position: int, total: int) -> Reply | Move:
        """Show the question and talk until there is an answer or a move."""
        self._show(position, total)
        offered = f"keep {self.before.said}" if self.before else "as written"
        while True:
            heard = self.talk.ask(
                [
                    ("Enter", offered),
                    (f"1-{len(self.card.fields)}", "this one says something else"),
                ],
                self._about[:1],
            )
            if not isinstance(heard, Said):
                return heard
            reply = self._understood(heard.text, {})
            if reply is not None:
                return reply

    @property
    def _about(self) -> list[Waiting]:
        return [stated.reading for stated in self.card.fields]

    def _show(self, position: int, total: int) -> None:
        talk, out = self.talk, self.talk.console
        out.print()
        label = self.card.fields[0].spec.label
        out.print(
            screen.head(titled(f"{label}: the sum does not fit"), self._about[0], position, total)
        )
        lines = (len(self.card.fields) + 1) // 2
        rows = max(screen.LEAST_ROWS, screen.rows_left(out, TEXT_LINES + lines) // lines)
        cells: list[RenderableType] = []
        for number, stated in enumerate(self.card.fields, start=1):
            drawn = talk.picture(talk.desk.field(stated.reading), rows, out.width // 2 - 2)
            what = "total: " if number == 1 else ""
            cells.append(screen.numbered(number, stated, what, drawn))
        out.print(screen.in_columns(cells, out))
        talk.say(f"{screen.reasons_line((self.card.reason,))}")
        if self.before is not None:
            out.print(f"Answered before: {self.before.said}")

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
        return None if not said and self.talk.unseen() else sum_reply(self.card, said)

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
            return LeftEmpty() if typed == screen.NOTHING else Unreadable()
        value = understand(typed, self.card.fields[place].spec, self.talk.study, self.talk.today)
        if isinstance(value, Refusal):
            self.talk.say(f"{value.message}.")
            return None
        return Value(value.text)

    def _checked(self, said: Mapping[int, Answer]) -> Reply | Move | None:
        """A second look where the sum still does not fit, or a value is unusual."""
        after = sum_after(self.card, said)
        odd = [doubt for place, answer in said.items() if (doubt := self._doubt(place, answer))]
        if not does_not_fit(after) and not odd:
            return sum_reply(self.card, said)
        for doubt in odd:
            self.talk.say(f"{doubt}.")
        if does_not_fit(after):
            total, *parts = after
            known = sum(int(part) for part in parts if part is not None)
            self.talk.say(f"the total would be {total}, the parts add to {known}.")
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
