"""What a person says on the page about a card, as a reply, a second look or a refusal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sheet_reader.record.history.answers import Accept, Answer, Illegible, LeftEmpty, Value
from sheet_reader.review.answers import Refusal, sites_named, understand
from sheet_reader.review.cards import (
    AlikeCard,
    Card,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SheetSeen,
    SumCard,
)
from sheet_reader.review.decisions import (
    Reply,
    alike_reply,
    field_reply,
    off_after,
    other_place,
    read_on,
    same_sheet,
    set_aside,
    sum_reply,
)
from sheet_reader.review.weighing import Look, weigh
from sheet_reader.study.model import FieldSpec, Site, Study

NOTHING, UNREADABLE = "n", "x"


@dataclass(frozen=True, slots=True)
class Said:
    """What the page sent about a card: the ``act``, its ``text``, which ``sheet`` or ``fields`` it
    is about, and whether it is ``sure`` after a second look.
    """

    act: str
    text: str = ""
    sheet: int = 0
    fields: Mapping[str, str] = field(default_factory=dict)
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Again:
    """Shown once more before it is kept: what was typed, and ``why``."""

    text: str
    why: str


@dataclass(frozen=True, slots=True)
class Settled:
    """A reply, with what is said of it."""

    reply: Reply
    note: str = ""


Heard = Settled | Again | Refusal


@dataclass(frozen=True, slots=True)
class Ear:
    """How one card is heard: whether it is ``blind`` still, and was ever (``keyed_blind``), whether
    it was ``seen``, the answer given ``before``, and its sheet as a whole.
    """

    study: Study
    today: date
    blind: bool = False
    audit: bool = False
    seen: bool = True
    before: Reply | None = None
    whole: SheetSeen | None = None

    def hear(self, card: Card, said: Said) -> Heard:
        """The reply that ``said`` makes about ``card``."""
        if said.act in ("date", "site", "aside") and not isinstance(card, PhotosCard):
            return self._whole_sheet(card, said)
        if said.act == "take" and self.before is not None:
            return Settled(self.before)
        if said.act == "take" and not self.seen:
            return Refusal("nothing of it was shown, so nothing is taken as read: look at the "
                           "whole photo, or type what the sheet says")  # fmt: skip
        if isinstance(card, FieldCard):
            return self._field(card, said)
        if isinstance(card, SumCard | AlikeCard):
            return self._sum(card, said)
        if isinstance(card, OutsideCard):
            return self._outside(card, said)
        return self._photos(card, said)

    def _kept(self, card: FieldCard, answer: Answer, note: str = "") -> Settled:
        blind = self.audit and self.before is None
        return Settled(field_reply(card, answer, blind=blind), note)

    def _field(self, card: FieldCard, said: Said) -> Heard:
        if said.act == "nothing":
            return self._kept(card, LeftEmpty())
        if said.act == "unreadable":
            return self._kept(card, Illegible())
        if said.act == "unlisted" and card.spec.kind == "site" and not self.audit:
            return Settled(set_aside(card.reading, "its site is not in the list"))
        if said.act == "take":
            return self._take(card)
        if said.act != "value":
            return Refusal("that is no answer to this question")
        if card.spec.kind == "site" and not said.text.strip().isdigit():
            return self._named(said.text)
        if said.sure or card.second:
            value = understand(said.text, card.spec, self.study, self.today)
            return value if isinstance(value, Refusal) else self._kept(card, Value(value.text))
        look = Look(self.blind, self.audit and self.before is None, "go back")
        weighed = weigh(card, said.text, self.study, self.today, look)
        if isinstance(weighed, Refusal):
            return weighed
        if weighed.doubts:
            return Again(weighed.text, "; ".join(weighed.doubts))
        return self._kept(card, Value(weighed.text), weighed.note)

    def _take(self, card: FieldCard) -> Heard:
        read = card.reading.read_value
        if card.typed:
            return Refusal("two people said different things: type which is right")
        if self.blind:
            return Refusal("this field is typed from the picture; the reading comes after")
        if read is None:
            return Refusal("nothing was read here: type what you see, or say that nothing is "
                           "written or that it can't be read")  # fmt: skip
        value = understand(read, card.spec, self.study, self.today)
        return value if isinstance(value, Refusal) else self._kept(card, Accept())

    def _named(self, text: str) -> Heard:
        found = sites_named(text, self.study.sites)
        if len(found) == 1:
            return Again(found[0].number, f"{found[0].number} is {found[0].label}")
        what = f"sites named like “{text.strip()}”"
        return Refusal(f"{what}:" if found else f"{what}: none", tuple(found))

    def _sum(self, card: SumCard | AlikeCard, said: Said) -> Heard:
        answers: dict[int, Answer] = {}
        doubts: list[str] = []
        for key, typed in said.fields.items() if said.act == "sum" else ():
            if not key.isdigit() or int(key) >= len(card.fields):
                return Refusal("that is no field of this question")
            answer = self._part(card.fields[int(key)].spec, typed.strip().lower(), doubts)
            if isinstance(answer, Refusal):
                return answer
            answers[int(key)] = answer
        if said.act not in ("take", "sum"):
            return Refusal("that is no answer to this question")
        off = off_after(card, answers) if isinstance(card, SumCard) else None
        if answers and off is not None:
            doubts.append(f"the total would be {off['total']}, the parts add to {off['parts']}")
        if doubts and not said.sure:
            return Again("it so", "; ".join(doubts))
        if isinstance(card, AlikeCard):
            return Settled(alike_reply(card, answers))
        return Settled(sum_reply(card, answers))

    def _part(self, spec: FieldSpec, typed: str, doubts: list[str]) -> Answer | Refusal:
        if typed in (NOTHING, UNREADABLE):
            return LeftEmpty() if typed == NOTHING else Illegible()
        value = understand(typed, spec, self.study, self.today)
        if isinstance(value, Refusal):
            return Refusal(f"{spec.label}: {value.message}")
        doubts += [value.doubt] if value.doubt else []
        return Value(value.text)

    def _outside(self, card: OutsideCard, said: Said) -> Heard:
        if said.act in ("take", "unreadable"):
            return Settled(read_on(card, ask_photo=said.act == "take"))
        return Refusal("what lies outside the picture can't be typed from it: ask for another "
                       "photo, or go on without")  # fmt: skip

    def _photos(self, card: PhotosCard, said: Said) -> Heard:
        if not 0 <= said.sheet < len(card.sheets):
            return Refusal(f"there are {len(card.sheets)} photos here")
        sheet = card.sheets[said.sheet]
        if said.act == "take" and card.unlike:
            return Refusal("they differ in too much to take them for one sheet unasked: say which "
                           "date or site is wrong, or which photo serves")  # fmt: skip
        if said.act in ("take", "same"):
            return Settled(same_sheet(card, said.sheet))
        if said.act == "aside":
            return Settled(set_aside(sheet.place))
        if said.act in ("date", "site"):
            return self._moved(sheet, said)
        return Refusal("that is no answer to this question")

    def _whole_sheet(self, card: Card, said: Said) -> Heard:
        if self.audit:
            return Refusal("an audit asks about single fields: use “correct” for the sheet")
        if said.act == "aside":
            return Settled(set_aside(card.place, said.text.strip()))
        if self.whole is None:
            return Refusal("this sheet is not in the record any more")
        return self._moved(self.whole, said)

    def _moved(self, sheet: SheetSeen, said: Said) -> Heard:
        """The sheet has another date or site than it has now."""
        kind = "date" if said.act == "date" else "site"
        spec = next(s for s in self.study.fields if s.kind == kind)
        near = sheet.place.visit_date
        value = understand(said.text, spec, self.study, self.today, near or "")
        if isinstance(value, Refusal):
            return value
        if value.text == (near if kind == "date" else sheet.place.site):
            return Refusal(f"that is what it has now: {value.text}")
        if value.doubt and not said.sure:
            return Again(value.text, value.doubt)
        return Settled(other_place(sheet, "date" if kind == "date" else "site", value.text))


def site_lines(sites: tuple[Site, ...]) -> list[dict[str, Any]]:
    """Sites to choose from."""
    return [{"number": site.number, "label": site.label} for site in sites]
