"""The conversation of a review: card by card, every answer kept as it is given."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from rich.console import Console

from sheet_reader.record.answering import Kept
from sheet_reader.review.ask_field import FieldQuestion
from sheet_reader.review.ask_outside import OutsideQuestion
from sheet_reader.review.ask_photos import PhotosQuestion
from sheet_reader.review.ask_several import AlikeQuestion
from sheet_reader.review.ask_sum import SumQuestion
from sheet_reader.review.blind import keyed_blind
from sheet_reader.review.cards import AlikeCard, Card, FieldCard, OutsideCard, SumCard
from sheet_reader.review.decisions import Reply
from sheet_reader.review.model import Desk
from sheet_reader.review.pictures import PictureMode
from sheet_reader.review.progress import Outcome as Outcome
from sheet_reader.review.progress import outcome
from sheet_reader.review.talk import Move, Talk
from sheet_reader.study.model import Study


@dataclass
class _Given:
    """A card that was answered, its answer, and what the desk gave for it."""

    card: Card
    reply: Reply
    kept: Kept


@dataclass
class Review:
    """One sitting. ``read_line`` gives the next typed line and raises EOFError at the end;
    ``launch`` opens a picture in the system's viewer and returns 0 if it could; copies of photos
    are left in ``folder``. In an ``audit`` every field is typed from the picture before the
    reading is shown.
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
    given: list[_Given] = field(default_factory=list)

    def run(self) -> Outcome:
        """Ask every question until the last is answered or the person stops.

        An answer may raise or close other questions (a settled site joins two photos), so the desk
        is asked anew after each; what was answered in this sitting comes back on the key only.
        """
        back = 0
        open_ = self._open()
        while open_ or back:
            former = self.given[-back] if back else None
            card = former.card if former else open_[0]
            position = len(self.given) - back + 1
            reply = self._ask(card, former, position, len(self.given) + len(open_))
            if reply == "stop":
                break
            if reply == "back":
                back = self._one_back(back)
                continue
            self._keep(card, reply, former)
            back = 0
            open_ = self._open()
        return outcome((given.reply for given in self.given), len(open_))

    def _open(self) -> list[Card]:
        """What the desk asks now. An audit asks each of its fields once."""
        cards = list(self.desk.cards())
        if not self.audit:
            return cards
        done = {given.card.key for given in self.given}
        return [card for card in cards if card.key not in done]

    def _one_back(self, back: int) -> int:
        if back == len(self.given):
            self.console.print("This is the first question.")
        return min(back + 1, len(self.given))

    def _keep(self, card: Card, reply: Reply, former: _Given | None) -> None:
        """Keep an answer, in place of a former one if there is one that says something else."""
        if former is None:
            self.given.append(_Given(card, reply, self.desk.keep(reply, by=self.by)))
        elif former.reply != reply:
            former.kept = self.desk.keep(reply, by=self.by, instead_of=former.kept)
            former.reply = reply

    def _ask(self, card: Card, former: _Given | None, position: int, total: int) -> Reply | Move:
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
            return FieldQuestion(talk, card, blind, self.audit, before).ask(position, total)
        if isinstance(card, SumCard):
            return SumQuestion(talk, card, before).ask(position, total)
        if isinstance(card, AlikeCard):
            return AlikeQuestion(talk, card, before).ask(position, total)
        if isinstance(card, OutsideCard):
            return OutsideQuestion(talk, card, before).ask(position, total)
        return PhotosQuestion(talk, card, before).ask(position, total)
