"""Talking to a person at a terminal: prompts at which the same keys work, pictures, and how a card
is talked about until there is an answer.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import Enum
from pathlib import Path
from typing import Generic, TypeVar

from rich.console import Console, Group, RenderableType
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from sheet_reader.answers.hearing import AskedHow, PersonSaid, Settled, hear
from sheet_reader.answers.questions import Card, FieldCard
from sheet_reader.answers.replies import Reply
from sheet_reader.errors import StorageError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.answers import Answer, Value
from sheet_reader.record.history.states import FieldState
from sheet_reader.review.face import Around, Plain, face, sentence
from sheet_reader.review.pictures import PictureMode, drawing, fitted_beside
from sheet_reader.review.source import FieldPictures, Gray, RecordQuestions
from sheet_reader.study.days import example
from sheet_reader.study.kinds import Refusal

Keys = Sequence[tuple[str, str]]
"""Keys with what they do."""
NOTHING, UNREADABLE, BACK, WHOLE_PHOTO, ROW, STOP, HELP = "n", "x", "b", "w", "r", "s", "?"
AGAIN = "-"
SAYS_NONE = ((NOTHING, "nothing written"), (UNREADABLE, "can't be read"))
MOVES = ((BACK, "back"), (ROW, "row and sheet"), (WHOLE_PHOTO, "whole photo"), (STOP, "stop"),
         (HELP, "help"))  # fmt: skip
MORE_HELP = """\
  Enter   take the value offered in the line of keys
  digits  what the sheet says, e.g. 14; a date as {date}, also without the year
  n       nothing is written there: "not recorded", which is not the same as 0
  x       something is written, but nobody can read it
  r       the whole row with label and tally, and the whole sheet laid straight
  w       the whole photo, with the boxes drawn, in your picture viewer
  b       back to the question before, to answer it again
  s       stop; every answer so far is saved, the rest waits"""


class Move(Enum):
    """What is typed and is no answer."""

    BACK = BACK
    STOP = STOP


AnyCard = TypeVar("AnyCard", bound=Card)
Typed = PersonSaid | Reply | Move | None
"""What a typed line comes to; None where it says nothing yet."""


@dataclass
class Terminal:
    """One person at one terminal, for one question. ``read_line`` gives the next typed line and
    raises EOFError at the end; ``launch`` opens a picture in the system's viewer and returns 0 if
    it could; ``folder`` is where copies of photos are left for her. ``seen``: whether anything of
    the question was shown.
    """

    source: RecordQuestions
    console: Console
    read_line: Callable[[], str]
    launch: Callable[[Path], int]
    today: date
    mode: PictureMode
    folder: Path
    seen: bool = False

    def ask(self, keys: Keys, about: Sequence[FieldState], question: str = "") -> str | Move:
        """Show the keys and take a line, until it is an answer or a move. ``about`` are the
        readings (one for each photo) whose rows and photos are shown on a key.
        """
        while True:
            if question:
                self.say(question)
            self.console.print(Group(_key_line(keys), _key_line(MOVES)))
            typed = self._line()
            if typed == HELP:
                more = MORE_HELP.format(date=example(self.source.study))
                self.console.print(more, highlight=False)
            elif typed == WHOLE_PHOTO:
                self._show_photo(about)
            elif typed == ROW:
                self._show_rows(about)
            else:
                return Move(typed) if typed in (BACK, STOP) else typed

    def say(self, text: str) -> None:
        """A sentence, wrapped at words."""
        self.console.print(sentence(text), highlight=False)

    def _line(self) -> str:
        self.console.print("> ", end="")
        try:
            typed = self.read_line().strip()
        except EOFError:
            return STOP
        return typed.lower() if typed.isascii() else typed

    def head(self, face: Plain, position: int, total: int) -> None:
        """Position, title and place, in three lines or, in a narrow terminal, a few more."""
        name = face.get("name")
        self.console.print()
        self.console.print(Rule(f"{position} of {total}", align="left", style="cyan"))
        self.console.print(Text.assemble((face["title"], "bold"), f"   {name}" if name else ""))
        self.console.print(Text(" · ".join(face["place"]), style="dim"))

    def rows_left(self, lines: int) -> int:
        """Terminal rows for a picture beside so many ``lines`` of text, all in sight at once; in a
        narrow terminal some lines wrap.
        """
        wrapped = REVIEW.narrow_lines if self.console.width < REVIEW.narrow else 0
        return max(int(REVIEW.least_rows), self.console.height - lines - wrapped)

    def picture(
        self, pictures: FieldPictures, rows: int, columns: int | None = None
    ) -> RenderableType | None:
        """A field's boxes to print, with what lies around them; what is printed counts as seen."""
        drawn = drawing(pictures.shown, self.mode, columns or self.console.width - 2, rows)
        self.seen = self.seen or drawn is not None
        return drawn

    def show(self, grays: Sequence[Gray | None], rows: int) -> bool:
        """Print pictures side by side; whether there was any."""
        there = [gray for gray in grays if gray is not None and gray.size]
        gray = fitted_beside(there) if len(there) > 1 else next(iter(there), None)
        drawn = None if gray is None else drawing(gray, self.mode, self.console.width - 2, rows)
        if drawn is None:
            return False
        self.console.print(drawn)
        self.seen = True
        return True

    def no_picture(self) -> Text:
        """Said where no picture is drawn."""
        why = "pictures are off" if self.mode == "off" else "no picture"
        return Text(f"({why}: {WHOLE_PHOTO} shows the whole photo)", style="dim")

    def in_columns(self, cells: Sequence[RenderableType]) -> None:
        """Cells two by two, filled row by row."""
        grid = Table.grid(padding=(0, 1))
        for _ in range(2):
            grid.add_column(width=self.console.width // 2 - 1)
        for start in range(0, len(cells), 2):
            grid.add_row(*cells[start : start + 2])
        self.console.print(grid)

    def _sheets(self, about: Sequence[FieldState]) -> list[Gray | None]:
        pages = dict.fromkeys(reading.page_instance_id for reading in about)
        return [self.source.sheet(page) for page in pages]

    def _show_rows(self, about: Sequence[FieldState]) -> None:
        """The rows with label and tally, then the sheets laid straight, side by side."""
        rows = self.rows_left(REVIEW.prompt_lines + 1)
        drawn = False
        for reading in about:
            row = self.source.field(reading.reading_id).row
            drawn |= self.show([row], max(3, rows // (2 * len(about))))
        if not self.show(self._sheets(about), rows) and not drawn:
            self.console.print(self.no_picture())

    def _show_photo(self, about: Sequence[FieldState]) -> None:
        places = list({r.photo_id: r for r in about}.values())
        path = self._photo_in(places, self.folder) or self._photo_in(
            places, Path(tempfile.mkdtemp(prefix="sheet-reader-"))
        )
        if path is None:
            self.say("there is no photo that could be opened")
            return
        self.seen = True
        if self.launch(path) == 0:
            self.console.print("The photo opens in your picture viewer; it lies at")
        else:
            self.show(self._sheets(places), self.rows_left(REVIEW.prompt_lines + 2))
            self.console.print("There is no picture viewer here; the picture lies at")
        self.console.print(str(path), soft_wrap=True, highlight=False)

    def _photo_in(self, places: Sequence[FieldState], folder: Path) -> Path | None:
        """A copy of the photo in ``folder``; None where it can't be opened, or written there."""
        try:
            return self.source.photo(places, folder)
        except StorageError:
            return None


@dataclass
class Question(Generic[AnyCard]):
    """One card and the talk about it; ``looked`` is told what was typed blind, before the reading
    is told.
    """

    terminal: Terminal
    card: AnyCard
    how: AskedHow
    looked: Callable[[FieldCard, Answer], None] = lambda _card, _answer: None
    at: tuple[int, int] = (1, 1)

    def ask(self, position: int, total: int) -> Reply | Move:
        """Show the question and talk until there is an answer or a move."""
        self.at = position, total
        around = Around(self.how.study, (), self.how.audit)
        self.face: Plain = face(self.card, "", around, self.how.before)
        self.terminal.head(self.face, position, total)
        self._show()
        if self.face["before"] is not None:
            self.terminal.console.print(f"Answered before: {self.face['before']}")
        while True:
            typed = self.terminal.ask(self._keys(), self._about)
            if isinstance(typed, Move):
                return typed
            done = self._done(self._said(typed))
            if done is not None:
                return done

    def _done(self, said: Typed) -> Reply | Move | None:
        """What comes of what was said, after a second look where it is asked; None: ask on."""
        how = self.how
        while isinstance(said, PersonSaid):
            heard = hear(self.card, said, replace(how, seen=self.terminal.seen))
            if isinstance(heard, Settled):
                if heard.note:
                    self.terminal.say(heard.note)
                return heard.reply
            if isinstance(heard, Refusal):
                self._refused(heard, said)
                return None
            if isinstance(self.card, FieldCard) and how.hidden:
                self.looked(self.card, Value(heard.text))
            how = replace(how, blind=False)
            self.terminal.say(heard.why)
            keys = [("Enter", f"keep {heard.text}"), *self._other_keys(), (AGAIN, "ask again")]
            typed = self.terminal.ask(keys, self._about)
            if typed in (Move.BACK, AGAIN):
                return None
            if isinstance(typed, Move):
                return typed
            if typed in ("", heard.text):
                text = heard.text if said.act == "value" else said.text
                said = replace(said, text=text, sure=True)
                continue
            former, said = said.fields, self._said(typed)
            if isinstance(said, PersonSaid):
                said = replace(said, fields={**former, **said.fields})
        return said

    @property
    def _about(self) -> list[FieldState]:
        return [self.card.place]

    def _show(self) -> None:
        """The pictures of the question, and its words."""
        raise NotImplementedError

    def _offered(self) -> Keys:
        take = self.face["take"]
        return [] if take is None else [("Enter", take[:1].lower() + take[1:])]

    def _keys(self) -> Keys:
        return [*self._offered(), *self._other_keys()]

    def _other_keys(self) -> Keys:
        """The keys that answer beside Enter."""
        raise NotImplementedError

    def _said(self, typed: str) -> Typed:
        """What was said by what was typed."""
        raise NotImplementedError

    def _refused(self, refusal: Refusal, _said: PersonSaid) -> None:
        self.terminal.say(refusal.message)
        for site in refusal.near:
            self.terminal.console.print(f"  {site.number}  {site.label}", highlight=False)


def _key_line(pairs: Keys) -> Text:
    line = Text()
    for place, (key, meaning) in enumerate(pairs):
        line.append(" · " if place else "", style="dim")
        line.append(key, style="bold cyan")
        line.append(f" {meaning}")
    return line
