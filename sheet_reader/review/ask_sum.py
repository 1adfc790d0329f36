"""Ask about a sum that does not fit: as written, or which of its fields says something else."""

from __future__ import annotations

import re
from dataclasses import dataclass

from rich.console import RenderableType

from sheet_reader.record.lines import Waiting
from sheet_reader.record.model import Answer, LeftEmpty, Unreadable, Value
from sheet_reader.review import screen
from sheet_reader.review.answers import Refusal, understand
from sheet_reader.review.cards import SumCard
from sheet_reader.review.decisions import Reply, does_not_fit, sum_after, sum_reply
from sheet_reader.review.talk import Move, Said, Talk, titled

TEXT_LINES = 11


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
            reply = self._understood(heard.text)
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

    def _understood(self, typed: str) -> Reply | Move | None:
        if typed == "":
            if self.before is not None:
                return self.before
            return None if self.talk.unseen() else sum_reply(self.card)
        match = re.fullmatch(r"([0-9]+)(?:[ =:]+(\S+))?", typed)
        if match is None or not 1 <= int(match[1]) <= len(self.card.fields):
            self.talk.say(
                f"type the number of the field that was misread (1 to {len(self.card.fields)}), "
                f"or it and what it says, e.g. 2 14; 2 {screen.NOTHING} or 2 {screen.UNREADABLE}."
            )
            return None
        return self._of_field(int(match[1]) - 1, match[2])

    def _of_field(self, place: int, typed: str | None) -> Reply | Move | None:
        stated = self.card.fields[place]
        if typed is None:
            self.talk.show(self.talk.desk.field(stated.reading).close, 8)
            keys = [
                ("digits", "what it says"),
                (screen.NOTHING, "nothing written"),
                (screen.UNREADABLE, "can't be read"),
            ]
            heard = self.talk.ask(keys, [stated.reading], f"{stated.spec.label}: what does it say?")
            if heard == "back" or heard == Said(""):
                return None
            if not isinstance(heard, Said):
                return heard
            typed = heard.text
        answer = self._answer(place, typed)
        return None if answer is None else self._checked(place, answer)

    def _answer(self, place: int, typed: str) -> Answer | None:
        if typed in (screen.NOTHING, screen.UNREADABLE):
            return LeftEmpty() if typed == screen.NOTHING else Unreadable()
        value = understand(typed, self.card.fields[place].spec, self.talk.study, self.talk.today)
        if isinstance(value, Refusal):
            self.talk.say(f"{value.message}.")
            return None
        if value.doubt:
            self.talk.say(f"{value.doubt}.")
        return Value(value.text)

    def _checked(self, place: int, answer: Answer) -> Reply | Move | None:
        """A second look where the sum still does not fit, or the value is unusual."""
        after = sum_after(self.card, place, answer)
        spec = self.card.fields[place].spec
        odd = isinstance(answer, Value) and _unusual(answer.text, spec.lowest, spec.highest)
        if not does_not_fit(after) and not odd:
            return sum_reply(self.card, place, answer)
        if does_not_fit(after):
            total, *parts = after
            known = sum(int(part) for part in parts if part is not None)
            self.talk.say(f"the total would be {total}, the parts add to {known}.")
        keys = [("Enter", "keep it so"), ("-", "ask again")]
        heard = self.talk.ask(keys, [self.card.fields[place].reading])
        if heard == Said(""):
            return sum_reply(self.card, place, answer)
        if isinstance(heard, Said) and heard.text != "-":
            return self._understood(heard.text)
        return heard if heard == "stop" else None


def _unusual(text: str, lowest: int | None, highest: int | None) -> bool:
    value = int(text)
    return (lowest is not None and value < lowest) or (highest is not None and value > highest)
