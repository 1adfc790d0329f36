"""Ask about a sheet that lies partly outside the picture."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.numbers import REVIEW
from sheet_reader.review import screen
from sheet_reader.review.cards import OutsideCard
from sheet_reader.review.decisions import Reply, read_on
from sheet_reader.review.talk import Move, Said, Talk, titled

ASK = "p"
TEXT_LINES = REVIEW.field_lines


@dataclass
class OutsideQuestion:
    """The sheet and the talk about it; ``before`` is the answer given earlier, if any."""

    talk: Talk
    card: OutsideCard
    before: Reply | None = None

    def ask(self, position: int, total: int) -> Reply | Move:
        """Show the question and talk until there is an answer or a move."""
        self._show(position, total)
        offered = f"keep {self.before.said}" if self.before else "ask for another photo"
        keys = [("Enter", offered), (screen.UNREADABLE, "read on without")]
        while True:
            heard = self.talk.ask(keys, [self.card.place])
            if not isinstance(heard, Said):
                return heard
            if heard.text == "" and self.before is not None:
                return self.before
            if heard.text in ("", ASK):
                return read_on(self.card, ask_photo=True)
            if heard.text == screen.UNREADABLE:
                return read_on(self.card, ask_photo=False)
            self.talk.say(
                "what lies outside the picture can't be typed from it: Enter to ask for another "
                f"photo, {screen.UNREADABLE} to go on without."
            )

    def _show(self, position: int, total: int) -> None:
        talk, out = self.talk, self.talk.console
        out.print()
        fields = self.card.fields
        count = "One field lies" if len(fields) == 1 else f"{len(fields)} fields lie"
        out.print(
            screen.head(titled(f"{count} outside the picture"), self.card.place, position, total)
        )
        listed = ", ".join(field.spec.label for field in fields)
        lines = len(listed) // max(20, out.width) + 1
        if not talk.show(
            talk.desk.sheet(self.card.place), screen.rows_left(out, TEXT_LINES + lines)
        ):
            out.print(screen.no_picture(talk.mode))
        out.print(listed, highlight=False)
        talk.say(
            "They are not recorded from this photo. Another one of the same sheet fills them in."
        )
        if self.before is not None:
            out.print(f"Answered before: {self.before.said}")
