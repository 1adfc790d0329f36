"""The conversation of a review: card by card, every answer kept as it is given."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from rich.console import Console

from sheet_reader.errors import OvertakenError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.store.claims import Leases
from sheet_reader.review.ask_field import FieldQuestion
from sheet_reader.review.ask_outside import OutsideQuestion
from sheet_reader.review.ask_photos import PhotosQuestion
from sheet_reader.review.ask_several import AlikeQuestion, rows_each
from sheet_reader.review.ask_sum import SumQuestion
from sheet_reader.review.blind import keyed_blind
from sheet_reader.review.cards import AlikeCard, Card, FieldCard, OutsideCard, SumCard
from sheet_reader.review.decisions import Reply
from sheet_reader.review.model import Desk
from sheet_reader.review.patience import patient
from sheet_reader.review.pictures import PictureMode
from sheet_reader.review.progress import Outcome as Outcome
from sheet_reader.review.sitting import Given, Sitting
from sheet_reader.review.talk import Move, Talk
from sheet_reader.study.model import Study


@dataclass
class Review:
    """One sitting. ``read_line`` gives the next typed line and raises EOFError at the end;
    ``launch`` opens a picture in the system's viewer and returns 0 if it could; copies of photos
    are left in ``folder``. In an ``audit`` every field is typed from the picture before the
    reading is shown. While the record is out of reach, ``wait`` is given the seconds between tries.
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
    folder: Path | None = None
    leases: Leases | None = None
    wait: Callable[[float], object] = time.sleep

    def __post_init__(self) -> None:
        sitting = Sitting(self.desk, self.by, self.audit, self.leases)
        self.sitting = patient(sitting, self.console, self.wait)
        self.desk = patient(self.desk, self.console, self.wait)

    def run(self) -> Outcome:
        """Ask every question until the last is answered or the person stops.

        An answer may raise or close other questions (a settled site joins two photos), so the desk
        is asked anew after each; what was answered in this sitting comes back on the key only.
        """
        sitting, back = self.sitting, 0
        open_ = sitting.open()
        while open_ or back:
            former = sitting.given[-back] if back else None
            if former is None and not sitting.shown(open_):
                open_ = sitting.open()
                continue
            card = former.card if former else self._in_sight(open_[0])
            position = len(sitting.given) - back + 1
            reply = self._ask(card, former, position, len(sitting.given) + len(open_))
            if reply == "stop":
                break
            if reply == "back":
                back = self._one_back(back)
                continue
            try:
                sitting.keep(card, reply, former)
            except OvertakenError as error:
                self.console.print(f"{error}; nothing was changed.")
            back = 0
            open_ = sitting.open()
        sitting.close()
        return sitting.outcome(len(open_))

    def _in_sight(self, card: Card) -> Card:
        """The card, or the first two of its counts where the pictures of all would be too small to
        tell a digit by; the others are asked next.
        """
        if not isinstance(card, AlikeCard) or self.mode in ("graphics", "off"):
            return card
        legible = rows_each(self.console, len(card.fields)) >= REVIEW.legible_rows
        return card if legible else AlikeCard(card.fields[:2])

    def _one_back(self, back: int) -> int:
        if back == len(self.sitting.given):
            self.console.print("This is the first question.")
        return min(back + 1, len(self.sitting.given))

    def _ask(self, card: Card, former: Given | None, position: int, total: int) -> Reply | Move:
        talk = Talk(
            desk=self.desk,
            study=self.study,
            console=self.console,
            read_line=self.read_line,
            launch=self.launch,
            today=self.today,
            mode=self.mode,
            folder=self.folder or Path(tempfile.gettempdir()),
        )
        before = former.reply if former else None
        if isinstance(card, FieldCard):
            blind = self.audit or keyed_blind(card, self.study)
            question = FieldQuestion(talk, card, blind, self.audit, before)
            question.looked = self.sitting.looked
            return question.ask(position, total)
        if isinstance(card, SumCard):
            return SumQuestion(talk, card, before).ask(position, total)
        if isinstance(card, AlikeCard):
            return AlikeQuestion(talk, card, before).ask(position, total)
        if isinstance(card, OutsideCard):
            return OutsideQuestion(talk, card, before).ask(position, total)
        return PhotosQuestion(talk, card, before).ask(position, total)
