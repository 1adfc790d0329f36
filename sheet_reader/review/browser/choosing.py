"""Which of the waiting questions a person at the page wants to see: by site, volunteer, reason."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from sheet_reader.review.browser.showing import Plain
from sheet_reader.review.cards import AlikeCard, Card, FieldCard, OutsideCard, SumCard
from sheet_reader.study.model import Study


@dataclass
class Choice:
    """What is chosen of the questions of a ``study``; an empty ``only`` is all of them."""

    study: Study
    only: dict[str, str] = field(default_factory=dict)

    def choose(self, asked: object) -> None:
        """Take what the page asks for; whatever is no choice is left out."""
        only = asked if isinstance(asked, dict) else {}
        self.only = {
            kind: str(only[kind]) for kind in ("site", "reason", "volunteer")
            if only.get(kind) not in (None, "")
        }  # fmt: skip

    def wants(self, card: Card) -> bool:
        """Whether ``card`` is among those chosen."""
        site, contact = card.place.site, self._contact(card)
        return (
            self.only.get("site", site) == site
            and self.only.get("volunteer", contact) == contact
            and (not (code := self.only.get("reason")) or code in codes_of(card))
        )

    def choices(self, cards: Iterable[Card]) -> Plain:
        """What ``cards`` can be chosen by: each with the number of questions."""
        cards = list(cards)
        sites = Counter(card.place.site for card in cards)
        people = Counter(self._contact(card) for card in cards)
        reasons = Counter(code for card in cards for code in codes_of(card))
        return {"site": dict(sites), "volunteer": dict(people), "reason": dict(reasons)}

    def _contact(self, card: Card) -> str:
        site = self.study.site(card.place.site)
        return site.contact if site is not None else ""


def codes_of(card: Card) -> list[str]:
    """The codes of why a card is asked."""
    if isinstance(card, FieldCard):
        return list(dict.fromkeys(reason.code.value for reason in card.reading.reasons))
    if isinstance(card, SumCard):
        return [card.reason.code.value]
    if isinstance(card, AlikeCard):
        reasons = [reason for stated in card.fields for reason in stated.reading.reasons]
        return list(dict.fromkeys(reason.code.value for reason in reasons))
    return ["outside the picture" if isinstance(card, OutsideCard) else "photos differ"]
