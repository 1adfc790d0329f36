"""What a person says about a card: settled, told and asked once more, or refused.

The one rule of answers: terminal and page show a card, call :func:`hear`, and do what comes of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches

from sheet_reader.answers.questions import (
    AlikeCard,
    Card,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SheetInPhoto,
    SumCard,
)
from sheet_reader.answers.replies import (
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
from sheet_reader.answers.typed import typed_answer
from sheet_reader.record.history.answers import (
    Accept,
    Answer,
    Illegible,
    LeftEmpty,
    PlaceKind,
    Value,
)
from sheet_reader.study.kinds import FieldValue, Refusal
from sheet_reader.study.study import Site, Study
from sheet_reader.wording import chance

MOST_NAMED = 6
NO_ANSWER = Refusal("that is no answer to this question")
UNSEEN = Refusal(
    "nothing of it was shown, so nothing is taken as read: look at the whole photo, or type what "
    "the sheet says"
)


@dataclass(frozen=True, slots=True)
class PersonSaid:
    """What a person said: the ``act``, its ``text``, which ``sheet`` (from 0) or ``fields`` (text
    by place) it is about, and whether she is ``sure`` after she was asked once more.
    """

    act: str
    text: str = ""
    sheet: int = 0
    fields: Mapping[str, str] = field(default_factory=dict)
    sure: bool = False


@dataclass(frozen=True, slots=True)
class AskedAgain:
    """Shown once more before it is kept: what was typed, and ``why``."""

    text: str
    why: str


@dataclass(frozen=True, slots=True)
class Settled:
    """What is to be kept, with what is said of it."""

    reply: Reply
    note: str = ""


Heard = Settled | AskedAgain | Refusal


@dataclass(frozen=True, slots=True)
class AskedHow:
    """How a card is asked: whether it is typed before what was read is told (``blind``), in an
    ``audit``; whether it was ``seen``, the answer given ``before``, and its sheet as a whole
    (``sheet``).
    """

    study: Study
    today: date
    blind: bool = False
    audit: bool = False
    seen: bool = True
    before: Reply | None = None
    sheet: SheetInPhoto | None = None

    @property
    def hidden(self) -> bool:
        """Whether what was read is hidden still: it is told with the answer."""
        return self.blind and self.before is None


def hear(card: Card, said: PersonSaid, how: AskedHow) -> Heard:
    """What ``said`` comes to as an answer to ``card``."""
    if said.act in ("date", "site", "aside") and not isinstance(card, PhotosCard):
        return _of_whole_sheet(card, said, how)
    if said.act == "take" and how.before is not None:
        return Settled(how.before)
    if isinstance(card, OutsideCard):
        return _of_outside(card, said)
    if isinstance(card, PhotosCard):
        return _of_photos(card, said, how)
    if said.act == "take" and not how.seen:
        return UNSEEN
    if isinstance(card, FieldCard):
        return _of_field(card, said, how)
    return _of_several(card, said, how)


def _of_field(card: FieldCard, said: PersonSaid, how: AskedHow) -> Heard:
    listed, blind = card.spec.kind.is_listed, how.audit and how.before is None
    answers: dict[str, Answer] = {"nothing": LeftEmpty(), "unreadable": Illegible()}
    if said.act in answers:
        return Settled(field_reply(card, answers[said.act], blind=blind))
    if said.act == "unlisted" and listed and not how.audit:
        return Settled(set_aside(card.reading, "its site is not in the list"))
    if said.act == "take":
        taken = _taken(card, how)
        return taken or Settled(field_reply(card, Accept(), blind=blind))
    if said.act != "value":
        return NO_ANSWER
    if listed and not said.text.strip().isdigit():
        return _site_named(said.text, how.study.sites)
    value = card.spec.kind.check(how.study, card.spec, said.text, today=how.today)
    if isinstance(value, Refusal):
        return value
    note, doubts = ("", ()) if said.sure or card.second else _weighed(card, value, how)
    if doubts:
        return AskedAgain(value.text, "; ".join(doubts))
    return Settled(field_reply(card, Value(value.text), blind=blind), note)


def _taken(card: FieldCard, how: AskedHow) -> Refusal | None:
    """Why what was read can't be taken as it is, if it can't."""
    read = card.reading.read_value
    if card.typed:
        return Refusal("two people said different things: type which is right")
    if how.blind:
        return Refusal("this field is typed from the picture; the reading comes after")
    if read is None:
        return Refusal("nothing was read here: type what you see, or say that nothing is written "
                       "or that it can't be read")  # fmt: skip
    value = card.spec.kind.check(how.study, card.spec, read, today=how.today)
    return value if isinstance(value, Refusal) else None


def _weighed(card: FieldCard, value: FieldValue, how: AskedHow) -> tuple[str, tuple[str, ...]]:
    """What is said of a value beside what was read, and the doubts for which it is asked again."""
    reading, doubts = card.reading, (value.doubt,) if value.doubt else ()
    if not how.blind:
        return "", doubts
    seen = "nothing" if reading.read_value is None else reading.read_value
    if value.text == reading.read_value:
        note = f"the reader saw {value.text}, too"
        return note, () if card.spec.kind.two_settle else doubts
    if how.audit:
        return f"the reader saw {seen}; your answer {value.text} is kept as typed. If it was a " \
            "slip, go back, and this field then leaves the audit", ()  # fmt: skip
    seen += f" ({chance(reading.confidence)})" if reading.read_value else ""
    if value.text == reading.runner_up and not card.spec.kind.is_listed:  # no slip hits just that
        note = f"the reader saw {seen}, or else {value.text}, which is kept as typed"
        return note, doubts
    return "", (*doubts, f"the reader saw {seen}, you typed {value.text}")


def _site_named(text: str, sites: Sequence[Site]) -> Heard:
    found = sites_named(text, sites)
    if len(found) == 1:
        return AskedAgain(found[0].number, f"{found[0].number} is {found[0].label}")
    what = f"sites named like “{text.strip()}”"
    return Refusal(f"{what}:" if found else f"{what}: none", found)


def sites_named(text: str, sites: Sequence[Site]) -> tuple[Site, ...]:
    """The sites whose names hold all the words of ``text``, else those named most alike."""
    parts = text.casefold().split()
    holding = [s for s in sites if all(part in s.label.casefold() for part in parts)]
    if holding or not parts:
        return tuple(holding[:MOST_NAMED])
    names = {site.label.casefold(): site for site in sites if site.label}
    return tuple(names[name] for name in get_close_matches(" ".join(parts), names, MOST_NAMED, 0.5))


def _of_several(card: SumCard | AlikeCard, said: PersonSaid, how: AskedHow) -> Heard:
    if said.act not in ("take", "sum"):
        return NO_ANSWER
    answers: dict[int, Answer] = {}
    doubts: list[str] = []
    for key, text in said.fields.items() if said.act == "sum" else ():
        if key not in map(str, range(len(card.fields))):
            return Refusal("that is no field of this question")
        typed = typed_answer(how.study, card.fields[int(key)].spec, text, how.today)
        if isinstance(typed, Refusal):
            return typed
        answers[int(key)] = typed.answer
        doubts += [typed.doubt] if typed.doubt else []
    if isinstance(card, SumCard) and answers and (off := off_after(card, answers)) is not None:
        doubts.append(f"the total would be {off['total']}, the parts add to {off['parts']}")
    if doubts and not said.sure:
        return AskedAgain("it so", "; ".join(doubts))
    if isinstance(card, AlikeCard):
        return Settled(alike_reply(card, answers))
    return Settled(sum_reply(card, answers))


def _of_outside(card: OutsideCard, said: PersonSaid) -> Heard:
    if said.act in ("take", "another", "unreadable"):
        return Settled(read_on(card, ask_photo=said.act != "unreadable"))
    return Refusal("what lies outside the picture can't be typed from it: ask for another photo, "
                   "or go on without")  # fmt: skip


def _of_photos(card: PhotosCard, said: PersonSaid, how: AskedHow) -> Heard:
    if not 0 <= said.sheet < len(card.sheets):
        return Refusal(f"there are {len(card.sheets)} photos here")
    sheet = card.sheets[said.sheet]
    if said.act == "take" and card.unlike:
        return Refusal("they differ in too much to take them for one sheet unasked: say which "
                       "date or site is wrong, or which photo serves")  # fmt: skip
    if said.act in ("take", "same"):
        return Settled(same_sheet(card, said.sheet)) if how.seen else UNSEEN
    if said.act == "aside":
        return Settled(set_aside(sheet.place))
    return _moved(sheet, said, how) if said.act in ("date", "site") else NO_ANSWER


def _of_whole_sheet(card: Card, said: PersonSaid, how: AskedHow) -> Heard:
    if how.audit:
        return Refusal("an audit asks about single fields: use “correct” for the sheet")
    if said.act == "aside":
        return Settled(set_aside(card.place, said.text.strip()))
    if how.sheet is None:
        return Refusal("this sheet is not in the record any more")
    return _moved(how.sheet, said, how)


def _moved(sheet: SheetInPhoto, said: PersonSaid, how: AskedHow) -> Heard:
    """The sheet has another date or site than it has now."""
    kind: PlaceKind = "date" if said.act == "date" else "site"
    spec = how.study.spec(how.study.keys[kind == "date"])
    assert spec is not None
    day = sheet.place.visit_date
    near = date.fromisoformat(day) if day else None
    value = spec.kind.check(how.study, spec, said.text, today=how.today, near=near)
    if isinstance(value, Refusal):
        return value
    if value.text == (day if kind == "date" else sheet.place.site):
        return Refusal(f"that is what it has now: {value.text}")
    if value.doubt and not said.sure:
        return AskedAgain(value.text, value.doubt)
    return Settled(other_place(sheet, kind, value.text))
