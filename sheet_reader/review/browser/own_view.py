"""What a person makes of the page for herself: which questions she wants to see, her own keys, and
how fast she answers.
"""

from __future__ import annotations

import contextlib
import json
import statistics
from collections import Counter, deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from sheet_reader.answers.questions import Card, FieldCard, OutsideCard, SeveralCard, SumCard
from sheet_reader.atomic import atomic_write
from sheet_reader.numbers import REVIEW
from sheet_reader.review.face import Plain
from sheet_reader.study.study import Study

ACTS = (
    "nothing", "unreadable", "unlisted", "two_sheets", "back", "forward", "skip", "remark", "date",
    "site", "aside", "photo", "zoom_in", "zoom_out", "to_field", "help",
)  # fmt: skip
"""What can have a key of its own."""


@dataclass
class QuestionFilter:
    """What is chosen of the questions of a ``study``, by site, volunteer or reason; an empty
    ``only`` is all of them.
    """

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
    if isinstance(card, SumCard):
        return [card.reason.code.value]
    if isinstance(card, FieldCard | SeveralCard):
        about = [card] if isinstance(card, FieldCard) else card.fields
        reasons = (reason for one in about for reason in one.reading.reasons)
        return list(dict.fromkeys(reason.code.value for reason in reasons))
    return ["outside the picture" if isinstance(card, OutsideCard) else "photos differ"]


@dataclass
class AnswerPace:
    """The keys and times of the answers of a sitting; times in s on a clock that never goes back.
    """

    answers: int = 0
    keys: int = 0
    _last: float | None = None
    _gaps: deque[float] = field(default_factory=lambda: deque(maxlen=REVIEW.page_pace_answers))

    def answered(self, now: float, keys: int) -> None:
        """An answer was kept; a long pause before it does not count as her pace."""
        self.answers += 1
        self.keys += keys
        if self._last is not None and now - self._last < REVIEW.page_pause_s:
            self._gaps.append(now - self._last)
        self._last = now

    def told(self, waiting: int) -> Plain:
        """Keys for each answer so far, and how long ``waiting`` questions will take at her pace;
        None before it is known.
        """
        return {
            "keys": round(self.keys / self.answers, 2) if self.answers else None,
            "seconds_left": round(statistics.median(self._gaps) * waiting) if self._gaps else None,
        }


def checked_keys(said: object) -> Plain:
    """What the page or the file says, as far as it makes sense: whether single keys are ``on``, and
    ``keys`` by act, each one printed sign that is no digit and stands for one act only, or "".

    >>> checked_keys({"on": False, "keys": {"skip": "J", "back": "4", "odd": "q"}})
    {'on': False, 'keys': {'skip': 'j'}}
    """
    said = said if isinstance(said, dict) else {}
    given = said.get("keys")
    keys = given if isinstance(given, dict) else {}
    found: dict[str, str] = {}
    for act in ACTS:
        key = keys.get(act)
        if not isinstance(key, str):
            continue
        key = key.strip().lower()
        if key == "" or (len(key) == 1 and key.isprintable() and not key.isdigit()
                         and key != "/" and key not in found.values()):  # fmt: skip
            found[act] = key
    return {"on": said.get("on") is not False, "keys": found}


@dataclass
class OwnKeys:
    """Which keys a person uses, kept in a ``file`` of hers; without one, for this sitting only."""

    file: Path | None = None
    known: Plain = field(default_factory=lambda: checked_keys(None))

    def __post_init__(self) -> None:
        if self.file is not None:
            with contextlib.suppress(OSError, ValueError):
                self.known = checked_keys(json.loads(self.file.read_text("utf-8")))

    def keep(self, said: object) -> Plain:
        """Keep these; where the file can't be written they hold for this sitting."""
        self.known = checked_keys(said)
        if self.file is not None:
            with contextlib.suppress(OSError):
                atomic_write({self.file: json.dumps(self.known).encode()})
        return self.known
