"""The conversation of a review at a terminal: card by card, every answer kept as it is given."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, TypeVar, cast

from rich.console import Console

from sheet_reader.answers.hearing import AskedHow
from sheet_reader.answers.questions import AlikeCard, Card
from sheet_reader.answers.replies import Reply
from sheet_reader.errors import OvertakenError, UnavailableError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.store.claims import Leases
from sheet_reader.review.asking import QUESTIONS, rows_each
from sheet_reader.review.face import Around, is_blind
from sheet_reader.review.sitting import AnsweredCard, Sitting
from sheet_reader.review.sitting import Outcome as Outcome
from sheet_reader.review.terminal import Move, Terminal

There = TypeVar("There")


@dataclass
class Review:
    """One sitting of a person at a ``terminal``. In an ``audit`` every field is typed from the
    picture before the reading is shown. While the record is out of reach, ``wait`` is given the
    seconds between tries.
    """

    terminal: Terminal
    by: str
    audit: bool = False
    leases: Leases | None = None
    wait: Callable[[float], object] = time.sleep

    def __post_init__(self) -> None:
        terminal, wait = self.terminal, self.wait
        sitting = Sitting(terminal.source, self.by, self.audit, self.leases)
        self.sitting = patient(sitting, terminal.console, wait)
        self.terminal = replace(terminal, source=patient(terminal.source, terminal.console, wait))

    def run(self) -> Outcome:
        """Ask every question until the last is answered or the person stops.

        An answer may raise or close other questions (a settled site joins two photos), so what is
        open is asked anew after each; what was answered in this sitting comes back on the key only.
        """
        sitting, back = self.sitting, 0
        open_ = sitting.open()
        while open_ or back:
            former = sitting.answered[-back] if back else None
            if former is None and not sitting.shown(open_):
                open_ = sitting.open()
                continue
            card = former.card if former else self._in_sight(open_[0])
            position = len(sitting.answered) - back + 1
            reply = self._ask(card, former, position, len(sitting.answered) + len(open_))
            if reply is Move.STOP:
                break
            if isinstance(reply, Move):
                if back == len(sitting.answered):
                    self.terminal.console.print("This is the first question.")
                back = min(back + 1, len(sitting.answered))
                continue
            try:
                sitting.keep(card, reply, former)
            except OvertakenError as error:
                self.terminal.console.print(f"{error}; nothing was changed.")
            back = 0
            open_ = sitting.open()
        sitting.close()
        return sitting.outcome(len(open_))

    def _in_sight(self, card: Card) -> Card:
        """The card, or the first two of its counts where the pictures of all would be too small to
        tell a digit by; the others are asked next.
        """
        if not isinstance(card, AlikeCard) or self.terminal.mode in ("graphics", "off"):
            return card
        legible = rows_each(self.terminal, card) >= REVIEW.legible_rows
        return card if legible else AlikeCard(card.fields[:2])

    def _ask(
        self, card: Card, former: AnsweredCard | None, position: int, total: int
    ) -> Reply | Move:
        terminal, before = self.terminal, former.reply if former else None
        study = terminal.source.study
        blind = is_blind(card, "", Around(study, audit=self.audit))
        how = AskedHow(study, terminal.today, blind, self.audit, before=before)
        question = QUESTIONS[type(card)](
            replace(terminal, seen=False), card, how, self.sitting.looked
        )
        return question.ask(position, total)


def patient(there: There, console: Console, wait: Callable[[float], object]) -> There:
    """``there``, of which a call that finds the record out of reach waits and is made again.

    The person is told once, with the reason, and when it goes on. Ctrl-C ends the waiting.
    """
    return cast(There, _Patient(there, console, wait))


class _Patient:
    def __init__(self, there: object, console: Console, wait: Callable[[float], object]) -> None:
        self._there, self._console, self._wait = there, console, wait

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._there, name)
        return functools.partial(self._call, found) if callable(found) else found

    def _call(self, do: Callable[..., Any], *args: Any, **options: Any) -> Any:
        turn = 0
        while True:
            try:
                done = do(*args, **options)
            except UnavailableError as error:
                if not turn:
                    self._console.print(f"{error.where}: {error.what}.", highlight=False)
                    self._console.print(
                        "Waiting until it is there again; every answer kept so far is safe, and "
                        "one just given is kept then. Ctrl-C ends the review without it."
                    )
                self._wait(REVIEW.patience_s[min(turn, len(REVIEW.patience_s) - 1)])
                turn += 1
            else:
                if turn:
                    self._console.print("It is there again.")
                return done
