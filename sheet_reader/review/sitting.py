"""One sitting of a review, whatever the front end: what is open, what was answered, what goes back.

A front end asks :meth:`Sitting.open` for the cards, shows one, and gives the reply to
:meth:`Sitting.keep`; a card answered in this sitting may be shown again and answered anew.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field

from sheet_reader.errors import UnavailableError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.answering import Kept
from sheet_reader.record.history.answers import Answer
from sheet_reader.record.store.leases import Leases
from sheet_reader.review.cards import Card, FieldCard
from sheet_reader.review.decisions import Reply
from sheet_reader.review.model import Desk
from sheet_reader.review.progress import Outcome, outcome

AT_ONCE = REVIEW.leases_at_once


def token_of(card: Card) -> str:
    """A short name for a card that tells it from all others."""
    return hashlib.sha256(repr(card.key).encode()).hexdigest()[:16]


@dataclass
class Given:
    """A card that was answered, its answer, and what the desk gave for it."""

    card: Card
    reply: Reply
    kept: Kept


@dataclass
class Sitting:
    """The answers of one person at one desk, oldest first."""

    desk: Desk
    by: str
    audit: bool = False
    leases: Leases | None = None
    given: list[Given] = field(default_factory=list)
    elsewhere: dict[str, str] = field(default_factory=dict)
    """Names by token of the cards that others are shown, as of the last look."""

    def open(self) -> list[Card]:
        """What the desk asks now. An audit asks each of its fields once.

        An answer may raise or close other questions (a settled site joins two photos), so this is
        asked anew after each.
        """
        cards = list(self.desk.cards())
        if not self.audit:
            self.elsewhere = self.leases.others() if self.leases is not None else {}
            return [card for card in cards if token_of(card) not in self.elsewhere]
        done = {given.card.key for given in self.given}
        return [card for card in cards if card.key not in done]

    def shown(self, cards: Sequence[Card]) -> bool:
        """Say that these cards, the first now and the others soon, are shown here; False where
        somebody else has been faster.
        """
        if self.leases is None or self.audit:
            return True
        return self.leases.hold([token_of(card) for card in cards[:AT_ONCE]])

    def close(self) -> None:
        """Leave the questions to others. Where the record is out of reach, leases end by
        themselves.
        """
        if self.leases is not None:
            with contextlib.suppress(UnavailableError):
                self.leases.release()

    def keep(self, card: Card, reply: Reply, former: Given | None = None) -> None:
        """Keep an answer, in place of a former one if there is one that says something else."""
        if isinstance(card, FieldCard) and card.second and reply.fields:
            if former is None:  # the first answer stays
                self.looked(card, reply.fields[0].answer)
                self.given.append(Given(card, reply, Kept()))
            return
        if former is None:
            if isinstance(card, FieldCard) and reply.fields and not self.audit:
                self.looked(card, reply.fields[0].answer)
            self.given.append(Given(card, reply, self.desk.keep(reply, by=self.by)))
        elif former.reply != reply:
            former.kept = self.desk.keep(reply, by=self.by, instead_of=former.kept)
            former.reply = reply

    def looked(self, card: FieldCard, answer: Answer) -> None:
        """Keep what was typed blind of a field that two people are asked."""
        self.desk.look(card, answer, by=self.by)

    def take_back(self, former: Given) -> None:
        """Take an answer back, so that its question is open again."""
        self.desk.keep(Reply(), by=self.by, instead_of=former.kept)
        self.given.remove(former)

    def outcome(self, waiting: int) -> Outcome:
        """How the sitting has gone, with so many questions left."""
        return outcome((given.reply for given in self.given), waiting)
