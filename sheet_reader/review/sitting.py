"""One sitting of a review, whatever the front end: what is open, what was answered, what goes back.

A front end asks :meth:`Sitting.open` for the cards, shows one, and gives the reply to
:meth:`Sitting.keep`; a card answered in this sitting may be shown again and answered anew.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field

from sheet_reader.answers.questions import Card, FieldCard
from sheet_reader.answers.replies import Reply
from sheet_reader.errors import UnavailableError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.answers import Answer, Kept
from sheet_reader.record.store.claims import Leases
from sheet_reader.review.source import RecordQuestions

AT_ONCE = REVIEW.leases_at_once


def token_of(card: Card) -> str:
    """A short name for a card that tells it from all others."""
    return hashlib.sha256(repr(card.key).encode()).hexdigest()[:16]


@dataclass
class AnsweredCard:
    """A card that was answered, its answer, and what the source gave for it."""

    card: Card
    reply: Reply
    kept: Kept


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a review ended: questions answered in it, those that still wait, and how they went."""

    answered: int
    waiting: int
    confirmed: int
    corrected: int


@dataclass
class Sitting:
    """The answers of one person, oldest first."""

    source: RecordQuestions
    by: str
    audit: bool = False
    leases: Leases | None = None
    answered: list[AnsweredCard] = field(default_factory=list)
    elsewhere: dict[str, str] = field(default_factory=dict)
    """Names by token of the cards that others are shown, as of the last look."""

    def open(self) -> list[Card]:
        """What is asked now. An audit asks each of its fields once.

        An answer may raise or close other questions (a settled site joins two photos), so this is
        asked anew after each.
        """
        cards = list(self.source.cards())
        if not self.audit:
            self.elsewhere = self.leases.others() if self.leases is not None else {}
            return [card for card in cards if token_of(card) not in self.elsewhere]
        done = {one.card.key for one in self.answered}
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

    def keep(self, card: Card, reply: Reply, former: AnsweredCard | None = None) -> None:
        """Keep an answer, in place of a former one if there is one that says something else."""
        second = isinstance(card, FieldCard) and card.second and bool(reply.fields)
        if former is not None:
            if former.reply != reply and not second:  # the first answer of a second person stays
                former.kept = self.source.keep(reply, by=self.by, instead_of=former.kept)
                former.reply = reply
            return
        if isinstance(card, FieldCard) and reply.fields and (second or not self.audit):
            self.looked(card, reply.fields[0].answer)
        kept = Kept() if second else self.source.keep(reply, by=self.by)
        self.answered.append(AnsweredCard(card, reply, kept))

    def looked(self, card: FieldCard, answer: Answer) -> None:
        """Keep what was typed blind of a field that two people are asked."""
        self.source.look(card, answer, by=self.by)

    def take_back(self, former: AnsweredCard) -> None:
        """Take an answer back, so that its question is open again."""
        self.source.keep(Reply(), by=self.by, instead_of=former.kept)
        self.answered.remove(former)

    def outcome(self, waiting: int) -> Outcome:
        """How the sitting has gone, with so many questions left."""
        kinds = [one.reply.kind for one in self.answered]
        return Outcome(len(kinds), waiting, kinds.count("confirmed"), kinds.count("corrected"))
