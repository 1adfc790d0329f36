"""The page's side of a sitting: which card is shown, what is said about it, how it goes.

One :class:`PageReview` serves one person and takes one message at a time. Every answer names its
card, so that one sent twice, or to another card than the one that is shown, changes nothing.
"""

from __future__ import annotations

import threading
import time
from collections import Counter, OrderedDict
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

from sheet_reader.answers.hearing import AskedAgain, AskedHow, PersonSaid, hear
from sheet_reader.answers.questions import Card, FieldCard
from sheet_reader.answers.replies import alike_reply
from sheet_reader.errors import OvertakenError, UsageError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.answers import Value
from sheet_reader.record.store.claims import Leases
from sheet_reader.review.browser.own_view import AnswerPace, OwnKeys, QuestionFilter
from sheet_reader.review.browser.pictures import Made, PictureShelf, jpeg
from sheet_reader.review.browser.sheet_work import SheetWork
from sheet_reader.review.face import (
    Around,
    Plain,
    face,
    is_blind,
    pictures_of,
    readings_in,
    sentence,
)
from sheet_reader.review.grid import GridRounds
from sheet_reader.review.queue import sheet_of
from sheet_reader.review.sitting import AnsweredCard, Sitting, token_of
from sheet_reader.review.source import RecordQuestions
from sheet_reader.study.kinds import Refusal


@dataclass
class PageReview:
    """One person at the page. ``clock`` gives seconds and never goes back."""

    source: RecordQuestions
    by: str
    today: date
    audit: bool = False
    leases: Leases | None = None
    clock: Callable[[], float] = time.monotonic
    keys: OwnKeys = field(default_factory=OwnKeys)
    sitting: Sitting = field(init=False)
    shelf: PictureShelf = field(init=False)
    sheets: SheetWork = field(init=False)
    filter: QuestionFilter = field(init=False)
    pace: AnswerPace = field(default_factory=AnswerPace)
    grids: GridRounds = field(default_factory=GridRounds)

    def __post_init__(self) -> None:
        self.sitting = Sitting(self.source, self.by, self.audit, self.leases)
        self.shelf = PictureShelf(self.source)
        self.filter = QuestionFilter(self.source.study)
        self.sheets = SheetWork(self.source, self.by, self.today)
        self._lock = threading.Lock()
        self._skipped: OrderedDict[str, None] = OrderedDict()
        self._shown: set[str] = set()
        self._done: OrderedDict[str, str] = OrderedDict()
        self._back = 0
        self._instead = ""
        self._asked: tuple[str, Card] | None = None
        self._turns: dict[str, Callable[[Plain], Plain]] = {
            "show": lambda _message: self._show(), "back": self._go_back,
            "forward": self._go_forward, "skip": self._skip, "only": self._choose,
            "remark": self._remark, "grid": self._lay_grid, "grid_done": self._grid_done,
        }  # fmt: skip

    def picture(self, kind: str, number: int) -> Made | None:
        """A picture as bytes and media type; None where there is none."""
        try:
            if kind == "straight":
                gray = self.sheets.straight(number)
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
            if act in self.sheets.acts:
                self.sitting.open()  # looks at the record as it is now
                found = self.sheets.do(act, message)
                whole = found.keys() & {"remarks", "rescue"}
                return self._show() | {"card": None} | found if whole else found
            return self._turns.get(act, self._answer)(message)

    def choices(self) -> Plain:
        """What the cards can be chosen by: each with the number of questions."""
        with self._lock:
            return self.filter.choices(self.sitting.open())

    def _open(self) -> list[Card]:
        cards = [card for card in self.sitting.open() if self.filter.wants(card)]
        tokens = {token_of(card) for card in cards}
        for token in [token for token in self._skipped if token not in tokens]:
            del self._skipped[token]
        if len(self._skipped) == len(cards):
            self._skipped.clear()
        return sorted(cards, key=lambda card: token_of(card) in self._skipped)

    def _around(self) -> Around:
        return Around(self.source.study, self.source.visits(), self.audit, frozenset(self._shown))

    def _show(self, **more: Any) -> Plain:
        """The card of now, and what the page needs beside it."""
        cards, around = self._open(), self._around()
        answered = self.sitting.answered
        self._back = min(self._back, len(answered))
        if self._back:
            former = answered[-self._back]
            self._asked = f"back-{len(answered) - self._back}", former.card
            shown: Plain | None = face(former.card, self._asked[0], around, former.reply)
            coming = cards[: 1 + REVIEW.page_cards_ahead]
        else:
            while cards and not self.sitting.shown(cards):  # somebody else has been faster
                cards = self._open()
            instead = (
                c.photos for c in cards
                if isinstance(c, FieldCard) and c.photos and token_of(c) == self._instead
            )  # fmt: skip
            now = next(instead, None) or next(iter(cards), None)
            self._asked = None if now is None else (token_of(now), now)
            shown = None if now is None else face(now, token_of(now), around)
            coming = cards[1 : 1 + REVIEW.page_cards_ahead]
        if shown is not None:
            shown["mark"] = self.shelf.mark(shown["reading"]) if "reading" in shown else None
        sheets = (f"/picture/sheet/{card.place.page_instance_id}" for card in coming)
        return {
            "card": shown,
            "back": self._back,
            "ahead": [address for card in coming for address in pictures_of(card)],
            "sheets": list(dict.fromkeys(sheets)),
            "progress": self._progress(len(cards)),
            **more,
        }

    def _progress(self, waiting: int) -> Plain:
        agreed = self.source.agreement() if self.source.study.asked_twice else None
        return {
            **asdict(self.sitting.outcome(waiting)),
            **self.pace.told(waiting),
            "only": dict(self.filter.only),
            "skipped": len(self._skipped),
            "agreement": agreed.sentence if agreed is not None else "",
            "elsewhere": dict(Counter(self.sitting.elsewhere.values())),
        }

    def _go_back(self, _message: Plain) -> Plain:
        if self._instead:
            self._instead = ""
            return self._show()
        if self._back >= len(self.sitting.answered):
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

    def _choose(self, message: Plain) -> Plain:
        self.filter.choose(message.get("only"))
        self._back = 0
        return self._show()

    def _remark(self, message: Plain) -> Plain:
        """Keep a remark on the sheet of a card."""
        token = str(message.get("card", ""))
        former = self._former(token)
        cards = [former.card] if former else [c for c in self._open() if token_of(c) == token]
        kept = bool(cards) and self.sheets.remark_on(cards[0], str(message.get("text", "")))
        return self._show(said="The remark is kept." if kept else "Nothing was remarked.")

    def _lay_grid(self, _message: Plain) -> Plain:
        """Fields read as one number, side by side with planted ones."""
        cards, source = self._open(), self.source
        shown = None if self.audit else self.grids.lay(source.study, source.visits(), cards)
        if shown is None:
            return self._show(refused="No group of fields is large enough for that now.")
        waiting = self.grids.waiting()
        held = [c for c in cards if waiting & {r.reading_id for r in readings_in(c)}]
        self.sitting.shown(held)
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

    def _former(self, token: str) -> AnsweredCard | None:
        answered = self.sitting.answered
        return next((a for n, a in enumerate(answered) if token == f"back-{n}"), None)

    def _answer(self, message: Plain) -> Plain:
        sent = str(message.get("id", ""))[:64]
        if sent and sent in self._done:
            return self._show(said=self._done[sent], kept=sent)
        token = str(message.get("card", ""))
        if self._asked is None or self._asked[0] != token:
            return self._show(refused="That question is settled by now, or another one is shown; "
                              "nothing was changed.")  # fmt: skip
        card, former, act = self._asked[1], self._former(token), str(message.get("act", ""))
        if act == "two_sheets" and isinstance(card, FieldCard) and card.photos:
            self._instead = token
            return self._show()
        source, before = self.source, former.reply if former is not None else None
        how = AskedHow(
            source.study, self.today, is_blind(card, token, self._around()),
            self.audit, self.shelf.shows(card), before,
            sheet_of(source.study, source.visits(), card.place),
        )  # fmt: skip
        said = PersonSaid(
            act, str(message.get("text", ""))[:200], number_in(message.get("sheet")),
            texts_in(message.get("fields")), message.get("sure") is True and not how.hidden,
        )  # fmt: skip
        heard = hear(card, said, how)
        if isinstance(heard, Refusal):
            near = [{"number": site.number, "label": site.label} for site in heard.near]
            return self._same(token, card, refused=sentence(heard.message), near=near)
        if isinstance(heard, AskedAgain):
            if isinstance(card, FieldCard) and how.hidden:  # what was read is told with it
                self.sitting.looked(card, Value(heard.text))
                self._shown.add(token)
            return self._same(token, card, look={"text": heard.text, "why": sentence(heard.why)})
        try:
            self.sitting.keep(card, heard.reply, former)
        except OvertakenError as error:
            return self._show(said=f"{error}; nothing was changed.")
        if former is None:
            self.pace.answered(self.clock(), number_in(message.get("keys"), 1))
        self._instead, self._back = "", 0
        told = f"Kept: {heard.reply.said}." + (f" {sentence(heard.note)}" if heard.note else "")
        if sent:
            self._done[sent] = told
            while len(self._done) > REVIEW.page_answers_remembered:
                self._done.popitem(last=False)
        return self._show(said=told, kept=sent)

    def _same(self, token: str, card: Card, **more: Any) -> Plain:
        """The card once more, with what is said of the answer."""
        view = self._show(**more)
        if not token.startswith("back-") and view["card"] and view["card"]["token"] != token:
            view["card"] = face(card, token, self._around())
            self._asked = token, card
        return view


def number_in(value: object, otherwise: int = 0) -> int:
    """A whole number from 0 to 9,999; ``otherwise`` for anything else."""
    return value if isinstance(value, int) and 0 <= value < 10_000 else otherwise


def texts_in(value: object) -> dict[str, str]:
    """Texts by name, 200 characters each at most, without those that say nothing."""
    texts = value if isinstance(value, dict) else {}
    return {str(key): str(text)[:200] for key, text in texts.items() if str(text).strip()}
