"""Talking to a person at a terminal: prompts at which the same keys work, and pictures."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Literal

from rich.console import Console, RenderableType
from rich.text import Text

from sheet_reader.errors import StorageError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.states import FieldState
from sheet_reader.review import screen
from sheet_reader.review.model import Desk, Gray, Pictures
from sheet_reader.review.pictures import PictureMode, drawing, fitted_beside
from sheet_reader.study.days import example
from sheet_reader.study.model import Study

Move = Literal["back", "stop"]
PROMPT_LINES = REVIEW.prompt_lines
"""The lines of keys, the prompt and what stands above it."""


@dataclass(frozen=True, slots=True)
class Said:
    """A typed line that is no move."""

    text: str


@dataclass
class Talk:
    """One person at one terminal. ``read_line`` gives the next typed line and raises EOFError at
    the end; ``launch`` opens a picture in the system's viewer and returns 0 if it could;
    ``folder`` is where copies of photos are left for her.
    """

    desk: Desk
    study: Study
    console: Console
    read_line: Callable[[], str]
    launch: Callable[[Path], int]
    today: date
    mode: PictureMode
    folder: Path
    seen: bool = False

    def ask(
        self,
        answers: Sequence[tuple[str, str]],
        about: Sequence[FieldState],
        question: str = "",
    ) -> Said | Move:
        """Show the keys and take a line, until it is an answer or a move. ``about`` are the
        readings (one for each photo) whose rows and photos are shown on a key.
        """
        while True:
            if question:
                self.say(question)
            self.console.print(screen.keys(answers))
            typed = self._line()
            if typed is None or typed == screen.STOP:
                return "stop"
            if typed == screen.BACK:
                return "back"
            if typed == screen.HELP:
                more = screen.MORE_HELP.format(date=example(self.study))
                self.console.print(more, highlight=False)
            elif typed == screen.WHOLE_PHOTO:
                self._show_photo(about)
            elif typed == screen.ROW:
                self._show_rows(about)
            else:
                return Said(typed)

    def say(self, text: str) -> None:
        """A sentence, begun with a capital letter, wrapped at words."""
        self.console.print(text[:1].upper() + text[1:], highlight=False)

    def _line(self) -> str | None:
        self.console.print("> ", end="")
        try:
            typed = self.read_line().strip()
        except EOFError:
            return None
        return typed.lower() if typed.isascii() else typed

    def picture(
        self, pictures: Pictures, rows: int, columns: int | None = None
    ) -> RenderableType | None:
        """The field's boxes to print; what is printed counts as seen."""
        drawn = screen.picture(pictures, self.console, self.mode, rows, columns)
        self.seen = self.seen or drawn is not None
        return drawn

    def show(self, gray: Gray | None, rows: int) -> bool:
        """Print a picture; whether it could be."""
        drawn = None if gray is None else drawing(gray, self.mode, self.console.width - 2, rows)
        if drawn is None:
            return False
        self.console.print(drawn)
        self.seen = True
        return True

    def beside(self, grays: Sequence[Gray | None]) -> Gray | None:
        """Pictures side by side in one; None where there is none."""
        there = [gray for gray in grays if gray is not None and gray.size]
        return fitted_beside(there) if there else None

    def unseen(self) -> bool:
        """Whether nothing of the question was shown; says so."""
        if self.seen:
            return False
        self.say(
            "nothing of it was shown, so nothing is taken as read: "
            f"{screen.WHOLE_PHOTO} shows the whole photo, or type what the sheet says."
        )
        return True

    def _show_rows(self, about: Sequence[FieldState]) -> None:
        """The rows with label and tally, then the sheets laid straight, side by side."""
        rows = screen.rows_left(self.console, PROMPT_LINES + 1)
        drawn = False
        for reading in about:
            drawn |= self.show(self.desk.field(reading).row, max(3, rows // (2 * len(about))))
        places = list({r.page_instance_id: r for r in about}.values())
        drawn |= self.show(self.beside([self.desk.sheet(place) for place in places]), rows)
        if not drawn:
            self.console.print(screen.no_picture(self.mode))

    def _show_photo(self, about: Sequence[FieldState]) -> None:
        places = list({r.photo_id: r for r in about}.values())
        path = self._photo_in(places, self.folder) or self._photo_in(
            places, Path(tempfile.mkdtemp(prefix="sheet-reader-"))
        )
        if path is None:
            self.say("there is no photo that could be opened.")
            return
        self.seen = True
        if self.launch(path) == 0:
            self.say("the photo opens in your picture viewer; it lies at")
            self.console.print(str(path), soft_wrap=True, highlight=False)
            return
        sheets = self.beside([self.desk.sheet(place) for place in places])
        self.show(sheets, screen.rows_left(self.console, PROMPT_LINES + 2))
        self.say("there is no picture viewer here; the picture lies at")
        self.console.print(str(path), soft_wrap=True, highlight=False)

    def _photo_in(self, places: Sequence[FieldState], folder: Path) -> Path | None:
        """A copy of the photo in ``folder``; None where it can't be opened, or written there."""
        try:
            return self.desk.photo(places, folder)
        except StorageError:
            return None


def titled(label: str, name: str = "") -> Text:
    """What a card is about, in bold, with the field's full name."""
    return Text.assemble((label, "bold"), f"   {name}" if name else "")
