"""One sitting of a review, whatever the front end: what is open, what was answered, what goes back.

A front end asks :meth:`Sitting.open` for the cards, shows one, and gives the reply to
:meth:`Sitting.keep`; a card answered in this sitting may be shown again and answered anew.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from sheet_reader.record.answering import Kept
from sheet_reader.review.cards import Card
from sheet_reader.review.decisions import Reply
from sheet_reader.review.model import Desk
from sheet_reader.review.progress import Outcome, outcome


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
    given: list[Given] = field(default_factory=list)

    def open(self) -> list[Card]:
        """What the desk asks now. An audit asks each of its fields once.

        An answer may raise or close other questions (a settled site joins two photos), so this is
        asked anew after each.
        """
        cards = list(self.desk.cards())
        if not self.audit:
            return cards
        done = {given.card.key for given in self.given}
        return [card for card in cards if card.key not in done]

    def keep(self, card: Card, reply: Reply, former: Given | None = None) -> None:
        """Keep an answer, in place of a former one if there is one that says something else."""
        if former is None:
            self.given.append(Given(card, reply, self.desk.keep(reply, by=self.by)))
        elif former.reply != reply:
            former.kept = self.desk.keep(reply, by=self.by, instead_of=former.kept)
            former.reply = reply

    def take_back(self, former: Given) -> None:
        """Take an answer back, so that its question is open again."""
        self.desk.keep(Reply(), by=self.by, instead_of=former.kept)
        self.given.remove(former)

    def outcome(self, waiting: int) -> Outcome:
        """How the sitting has gone, with so many questions left."""
        return outcome((given.reply for given in self.given), waiting)
