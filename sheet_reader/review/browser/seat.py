"""The page's side of a sitting: which card is shown, what is said about it, how it goes.

One seat serves one person; :class:`Seat` takes one message at a time. Every answer names its card,
so that one sent twice, or to another card than the one that is shown, changes nothing.
"""

from __future__ import annotations

import threading
import time
from collections import Counter, OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sheet_reader.errors import OvertakenError, UsageError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.answers import Value
from sheet_reader.record.store.leases import Leases
from sheet_reader.review.answers import Refusal
from sheet_reader.review.browser.beside import Beside
from sheet_reader.review.browser.choosing import Choice
from sheet_reader.review.browser.free_writing import remark_on
from sheet_reader.review.browser.grids import Grids, readings_of
from sheet_reader.review.browser.habits import Habits
from sheet_reader.review.browser.hearing import Again, Ear, Heard, Said, Settled, site_lines
from sheet_reader.review.browser.messages import number_in, sentence, texts_in
from sheet_reader.review.browser.pace import Pace
from sheet_reader.review.browser.pictures import Made, PictureShelf, jpeg
from sheet_reader.review.browser.showing import (
    Around,
    Plain,
    face,
    is_blind,
    pictures_of,
)
from sheet_reader.review.cards import Card, FieldCard
from sheet_reader.review.decisions import alike_reply
from sheet_reader.review.desk import RecordDesk
from sheet_reader.review.queue import sheet_seen
from sheet_reader.review.sitting import Given, Sitting, token_of

AHEAD = REVIEW.page_cards_ahead
REMEMBERED = REVIEW.page_answers_remembered


@dataclass
class Seat:
    """One person at the page. ``clock`` gives seconds and never goes back."""

    desk: RecordDesk
    by: str
    today: date
    audit: bool = False
    leases: Leases | None = None
    clock: Callable[[], float] = time.monotonic
    habits: Habits = field(default_factory=Habits)
    sitting: Sitting = field(init=False)
    shelf: PictureShelf = field(init=False)
    beside: Beside = field(init=False)
    choice: Choice = field(init=False)
    pace: Pace = field(default_factory=Pace)
    grids: Grids = field(default_factory=Grids)

    def __post_init__(self) -> None:
        self.sitting = Sitting(self.desk, self.by, self.audit, self.leases)
        self.shelf = PictureShelf(self.desk)
        self.choice = Choice(self.desk.study)
        self.beside = Beside(self.desk, self.by, self.today)
        self._lock = threading.Lock()
        self._skipped: OrderedDict[str, None] = OrderedDict()
        self._shown: set[str] = set()
        self._done: OrderedDict[str, str] = OrderedDict()
        self._back = 0
        self._instead = ""
        self._asked: tuple[str, Card] | None = None

    def picture(self, kind: str, number: int) -> Made | None:
        """A picture as bytes and media type; None where there is none."""
        try:
            if kind == "straight":
                gray = self.beside.straight(number)
                return None if gray is None else jpeg(gray)
            if kind == "close":  # asked for ahead, as its place on the sheet will be
                self.shelf.mark(number)
            return self.shelf.get(kind, number)
        except UsageError:
            return None

    def say(self, message: Plain) -> Plain:
        """Take a message of the page and give what it shows next."""
        with self._lock:
            act = str(message.get("act", ""))
            if act in self.beside.acts:
                return self._beside(act, message)
            turns: dict[str, Callable[[Plain], Plain]] = {
                "show": self._show, "back": self._go_back, "forward": self._go_forward,
                "skip": self._skip, "only": self._filter, "remark": self._remark,
                "grid": self._lay_grid, "grid_done": self._grid_done,
            }  # fmt: skip
            return turns.get(act, self._answer)(message)

    # what is shown

    def _open(self) -> list[Card]:
        cards = [card for card in self.sitting.open() if self.choice.wants(card)]
        tokens = {token_of(card) for card in cards}
        for token in [token for token in self._skipped if token not in tokens]:
            del self._skipped[token]
        if len(self._skipped) == len(cards):
            self._skipped.clear()
        return sorted(cards, key=lambda card: token_of(card) in self._skipped)

    def _around(self) -> Around:
        return Around(self.desk.study, self.desk.visits(), self.audit, frozenset(self._shown))

    def _show(self, message: Plain | None = None, **more: Any) -> Plain:
        """The card of now, and what the page needs beside it."""
        del message
        cards, around = self._open(), self._around()
        self._back = min(self._back, len(self.sitting.given))
        former = self.sitting.given[-self._back] if self._back else None
        if former is not None:
            token = f"back-{len(self.sitting.given) - self._back}"
            self._asked = token, former.card
            shown: Plain | None = face(former.card, token, around, former.reply)
        else:
            cards = self._held(cards)
            now = next(iter([*self._photos_of(cards), *cards]), None)
            self._asked = (token_of(now), now) if now is not None else None
            shown = face(now, token_of(now), around) if now is not None else None
        if shown is not None:
            shown["mark"] = self.shelf.mark(shown["reading"]) if "reading" in shown else None
        coming = cards[: 1 + AHEAD] if former is not None else cards[1 : 1 + AHEAD]
        return {
            "card": shown,
            "back": self._back,
            "ahead": [address for card in coming for address in pictures_of(card)],
            "sheets": list(dict.fromkeys(
                f"/picture/sheet/{card.place.page_instance_id}" for card in coming
            )),
            "progress": self._progress(len(cards)),
            **more,
        }  # fmt: skip

    def _held(self, cards: list[Card]) -> list[Card]:
        """The cards of which the first is held for this person."""
        while cards and not self.sitting.shown(cards):
            cards = self._open()
        return cards

    def _photos_of(self, cards: Iterable[Card]) -> list[Card]:
        """The question about photos that she asked for in place of one about a field."""
        return [
            card.photos for card in cards
            if isinstance(card, FieldCard) and card.photos and token_of(card) == self._instead
        ]  # fmt: skip

    def _progress(self, waiting: int) -> Plain:
        done = self.sitting.outcome(waiting)
        left, keys = self.pace.seconds_left(waiting), self.pace.keys_each()
        return {
            "answered": done.answered,
            "waiting": waiting,
            "confirmed": done.confirmed,
            "corrected": done.corrected,
            "keys": None if keys is None else round(keys, 2),
            "seconds_left": None if left is None else round(left),
            "only": dict(self.choice.only),
            "skipped": len(self._skipped),
            "agreement": self._agreement(),
            "elsewhere": dict(Counter(self.sitting.elsewhere.values())),
        }

    def _agreement(self) -> str:
        if not self.desk.study.asked_twice:
            return ""
        found = self.desk.agreement()
        return found.sentence if found is not None else ""

    def choices(self) -> Plain:
        """What the cards can be chosen by: each with the number of questions."""
        with self._lock:
            return self.choice.choices(self.sitting.open())

    # moves

    def _go_back(self, _message: Plain) -> Plain:
        if self._instead:
            self._instead = ""
            return self._show()
        if self._back >= len(self.sitting.given):
            return self._show(refused="This is the first question of this sitting.")
        self._back += 1
        return self._show()

    def _go_forward(self, _message: Plain) -> Plain:
        self._back = max(0, self._back - 1)
        return self._show()

    def _skip(self, message: Plain) -> Plain:
        """Put a card to the end; one that was answered is taken back and asked later."""
        token = str(message.get("card", ""))
        former = self._former(token)
        if former is not None:
            self._skipped[token_of(former.card)] = None
            self.sitting.take_back(former)
            self._back = 0
            return self._show(said="The answer is taken back; the question comes again.")
        if any(token_of(card) == token for card in self._open()):
            self._skipped.pop(token, None)
            self._skipped[token] = None
        return self._show(said="Skipped; it comes again at the end.")

    def _filter(self, message: Plain) -> Plain:
        self.choice.choose(message.get("only"))
        self._back = 0
        return self._show()

    def _remark(self, message: Plain) -> Plain:
        """Keep a remark on the sheet of a card."""
        token = str(message.get("card", ""))
        former = self._former(token)
        cards = [former.card] if former else [c for c in self._open() if token_of(c) == token]
        if not cards or not remark_on(self.desk, cards[0], str(message.get("text", "")), self.by):
            return self._show(said="Nothing was remarked.")
        return self._show(said="The remark is kept.")

    def _beside(self, act: str, message: Plain) -> Plain:
        """Something beside the cards, shown in place of one where it is a whole page."""
        self.sitting.open()  # looks at the record as it is now
        found = self.beside.acts[act](message)
        whole = found.keys() & {"remarks", "rescue"}
        return self._show() | {"card": None} | found if whole else found

    # many at once

    def _lay_grid(self, _message: Plain) -> Plain:
        """Fields read as one number, side by side with planted ones."""
        cards = self._open()
        shown = None if self.audit else self.grids.lay(self.desk, cards)
        if shown is None:
            return self._show(refused="No group of fields is large enough for that now.")
        waiting = self.grids.waiting()
        self.sitting.shown([card for card in cards if waiting & readings_of(card)])
        return self._show() | {"card": None, "grid": shown}

    def _grid_done(self, message: Plain) -> Plain:
        """Keep what was left in the grid, if no planted one was missed."""
        done = self.grids.done(message)
        if done is None:
            return self._show(said="That grid is settled by now; nothing was changed.")
        told, left = done
        if left is not None:
            try:
                self.sitting.keep(left, alike_reply(left))
            except OvertakenError as error:
                return self._show(said=f"{error}; nothing of the grid was kept.")
            told["kept"] = len(left.fields)
            self.pace.answered(self.clock(), number_in(message.get("keys"), 1))
        return self._show() | {"card": None, "grid_told": told}

    # answers

    def _former(self, token: str) -> Given | None:
        number = token.removeprefix("back-")
        if number == token or not number.isdigit() or int(number) >= len(self.sitting.given):
            return None
        return self.sitting.given[int(number)]

    def _answer(self, message: Plain) -> Plain:
        sent = str(message.get("id", ""))[:64]
        if sent and sent in self._done:
            return self._show(said=self._done[sent], kept=sent)
        token = str(message.get("card", ""))
        if self._asked is None or self._asked[0] != token:
            return self._show(refused="That question is settled by now, or another one is shown; "
                              "nothing was changed.")  # fmt: skip
        card, former = self._asked[1], self._former(token)
        if message.get("act") == "two_sheets" and isinstance(card, FieldCard) and card.photos:
            self._instead = token
            return self._show()
        heard = self._hear(card, token, former, message)
        if isinstance(heard, Settled):
            return self._keep(card, former, heard, sent, message)
        return self._told(heard, card, token)

    def _hear(self, card: Card, token: str, former: Given | None, message: Plain) -> Heard:
        blind = former is None and is_blind(card, token, self._around())
        said = Said(
            str(message.get("act", "")),
            str(message.get("text", ""))[:200],
            number_in(message.get("sheet")),
            texts_in(message.get("fields")),
            message.get("sure") is True and not blind,
        )
        before = former.reply if former is not None else None
        ear = Ear(
            self.desk.study, self.today, blind, self.audit, self.shelf.shows(card), before,
            sheet_seen(self.desk.study, self.desk.visits(), card.place),
        )  # fmt: skip
        return ear.hear(card, said)

    def _keep(
        self, card: Card, former: Given | None, heard: Settled, sent: str, message: Plain
    ) -> Plain:
        try:
            self.sitting.keep(card, heard.reply, former)
        except OvertakenError as error:
            return self._show(said=f"{error}; nothing was changed.")
        self._instead = ""
        if former is None:
            self.pace.answered(self.clock(), number_in(message.get("keys"), 1))
        self._back = 0
        said = f"Kept: {heard.reply.said}." + (f" {sentence(heard.note)}" if heard.note else "")
        if sent:
            self._done[sent] = said
            while len(self._done) > REMEMBERED:
                self._done.popitem(last=False)
        return self._show(said=said, kept=sent)

    def _told(self, heard: Again | Refusal, card: Card, token: str) -> Plain:
        """The card once more, with a second look or why an answer can't be kept."""
        if isinstance(heard, Refusal):
            return self._same(token, card, refused=sentence(heard.message),
                              near=site_lines(heard.near))  # fmt: skip
        if isinstance(card, FieldCard) and is_blind(card, token, self._around()):
            self.sitting.looked(card, Value(heard.text))
            self._shown.add(token)
        look = {"text": heard.text, "why": sentence(heard.why)}
        return self._same(token, card, look=look)

    def _same(self, token: str, card: Card, **more: Any) -> Plain:
        view = self._show(**more)
        if not token.startswith("back-") and view["card"] and view["card"]["token"] != token:
            view["card"] = face(card, token, self._around())
            self._asked = token, card
        return view
