"""A card as plain data, for the page and the terminal: every text is text, every picture an
address.

What is typed blind has nothing in it that tells what was read.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from sheet_reader.answers.questions import (
    Card,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SeveralCard,
    SheetInPhoto,
    Stated,
    SumCard,
)
from sheet_reader.answers.replies import Reply
from sheet_reader.intake.files import one_line
from sheet_reader.numbers import REVIEW
from sheet_reader.reasons import Code, has
from sheet_reader.record.history.answers import NOTHING, UNREADABLE
from sheet_reader.record.history.states import FieldState, VisitState
from sheet_reader.review.queue import keyed_blind
from sheet_reader.study.study import Study
from sheet_reader.wording import chance, words

Plain = dict[str, Any]
LONGEST = REVIEW.page_reason_signs
STRUCK = (
    f"All of it struck out: “{NOTHING}” if no other number stands there (then it is not "
    f"recorded), “{UNREADABLE}” if one does that nobody can read."
)


@dataclass(frozen=True, slots=True)
class Around:
    """What is shown with a card: the ``study``, the ``visits``, whether it is an ``audit``, and
    the tokens of blind cards whose reading was ``shown`` after something was typed.
    """

    study: Study
    visits: Sequence[VisitState] = ()
    audit: bool = False
    shown: frozenset[str] = field(default_factory=frozenset)


def is_blind(card: Card, token: str, around: Around) -> bool:
    """Whether what was read is hidden still."""
    if not isinstance(card, FieldCard) or token in around.shown:
        return False
    return around.audit or keyed_blind(card, around.study)


def face(card: Card, token: str, around: Around, before: Reply | None = None) -> Plain:
    """The card, with the answer given ``before`` where it is shown once more. ``take`` is what can
    be taken as it is, None for nothing.
    """
    place = card.place
    shown: Plain = {
        "token": token,
        "place": place_lines(place),
        "page": place.page_instance_id,
        "sheet": f"/picture/sheet/{place.page_instance_id}",
        "photo": f"/picture/photo/{place.page_instance_id}",
        "before": before.said if before else None,
    }
    if isinstance(card, FieldCard):
        shown |= _field(card, around, blind=is_blind(card, token, around) and before is None)
    elif isinstance(card, OutsideCard):
        shown |= _outside(card)
    elif isinstance(card, PhotosCard):
        shown |= _photos(card)
    else:
        shown |= _several(card)
    return shown | ({"take": f"Keep {before.said}"} if before else {})


def place_lines(place: FieldState) -> list[str]:
    """Where a sheet belongs, part by part."""
    return [
        f"site {place.site or 'not settled'}",
        f"visit {place.visit_date or 'not settled'}",
        f"sheet {place.sheet}, page {place.page}",
        photo_name(place),
    ]


def photo_name(place: FieldState) -> str:
    """The photo, and of a PDF its page, on one line."""
    page = f", page {place.frame + 1}" if place.frame else ""
    return f"photo {one_line(place.photo, 50)}{page}"


def readings_in(card: Card) -> list[FieldState]:
    """The readings whose boxes must be seen before the card is answered."""
    if isinstance(card, FieldCard):
        return [card.reading, *(other.reading for other in card.others)]
    return [stated.reading for stated in card.fields] if isinstance(card, SeveralCard) else []


def pictures_of(card: Card) -> list[str]:
    """The addresses of the pictures without which the card can't be answered."""
    if isinstance(card, PhotosCard):
        return [f"/picture/sheet/{sheet.page_instance_id}" for sheet in card.sheets]
    if isinstance(card, OutsideCard):
        return [f"/picture/sheet/{card.place.page_instance_id}"]
    return [_close(reading) for reading in readings_in(card)]


def _close(reading: FieldState) -> str:
    return f"/picture/close/{reading.reading_id}"


def _field(card: FieldCard, around: Around, *, blind: bool) -> Plain:
    reading, spec = card.reading, card.spec
    why = one_line(words(reading.reasons, blind=blind), LONGEST)
    if card.typed:
        said = ", ".join(f"{by}: {what}" for by, what in card.typed)
        why = one_line(f"two people looked, and said different things ({said}).", LONGEST)
    offered = not (blind or card.typed or reading.read_value is None)
    shown: Plain = {
        "kind": "field",
        "field": spec.kind.name,
        "asks": spec.kind.asks,
        "listed": spec.kind.is_listed,
        "title": spec.label,
        "name": spec.name,
        "reading": reading.reading_id,
        "blind": blind,
        "why": why if blind else why or "not sure enough",
        "hint": STRUCK if has(reading.reasons, Code.STRUCK_OUT) else "",
        "close": _close(reading),
        "row": f"/picture/row/{reading.reading_id}",
        "others": [
            {"photo": one_line(other.reading.photo, 50), "value": other.value or "nothing",
             "close": _close(other.reading)}
            for other in card.others
        ],
        "two_sheets": card.photos is not None,
        "beside": list(_beside(card, around)) if spec.plot else [],
        "settle": bool(card.typed),
        "take": f"Keep {reading.read_value}" if offered else None,
    }  # fmt: skip
    if not blind:
        sure = chance(reading.confidence)
        read: Plain = {"value": reading.read_value, "chance": sure, "other": None}
        if (second := likely_second(reading)) is not None:
            read |= {"other": second, "rest": chance(reading.runner_up_confidence)}
        shown["read"] = read
    return shown


def likely_second(reading: FieldState) -> str | None:
    """The next value that a field may say, if it is worth a word."""
    return reading.runner_up if reading.runner_up_confidence >= REVIEW.least_chance else None


def _beside(card: FieldCard, around: Around) -> Iterable[Plain]:
    """The same count of the other plots, and of this plot on the site's last visit."""
    page, name = card.reading.page_instance_id, card.spec.name
    here = next((v for v in around.visits if page in {p.page_instance_id for p in v.pages}), None)
    if here is None:
        return
    plots = {s.name: s for s in around.study.fields if s.count == card.spec.count and s.plot}
    for e in here.fields:
        if e.reading.field in plots and e.reading.field != name and e.is_current:
            yield _small(e, plots[e.reading.field].label)
    earlier = (
        v for v in around.visits
        if v.site and v.site == here.site and "" < v.visit_date < here.visit_date
    )  # fmt: skip
    last = max(earlier, key=lambda v: v.visit_date, default=None)
    for e in last.fields if last is not None else ():
        if e.reading.field == name and e.is_current:
            yield _small(e, f"the visit before, {last.visit_date if last else ''}")


def _small(e: FieldState, label: str) -> Plain:
    value = e.value if e.value is not None else "not recorded"
    value = {"flagged": "still asked", "unreadable": UNREADABLE}.get(e.status, value)
    value += " (doubted)" if e.status == "doubted" else ""
    return {"label": label, "value": value, "boxes": f"/picture/boxes/{e.reading.reading_id}"}


def _several(card: SeveralCard) -> Plain:
    """Several fields, each with what it says, to be changed one by one."""
    count, total = len(card.fields), isinstance(card, SumCard)
    title = f"{count} counts of one sheet, each read with some doubt"
    why = "look at each: all may be right, or some may not."
    if isinstance(card, SumCard):
        title = f"{card.fields[0].spec.label}: the sum does not fit"
        why = one_line(words((card.reason,)), LONGEST)
    parts = [
        {
            "label": stated.spec.label.split(": ", 1)[-1] if total else stated.spec.label,
            "value": stated.value,
            "shown": stated.value or (NOTHING if stated.status == "empty" else UNREADABLE),
            "why": "" if total else one_line(_why_likely(stated.reading), LONGEST),
            "close": _close(stated.reading),
            "reading": stated.reading.reading_id,
            "total": total and number == 0,
        }
        for number, stated in enumerate(card.fields)
    ]
    return {
        "kind": "sum",
        "title": title,
        "take": "As written" if total else f"All {count} are right",
        "reading": card.fields[0].reading.reading_id,
        "why": why,
        "parts": parts,
    }


def _why_likely(reading: FieldState) -> str:
    """Why a count that is likely right is asked about: what else it may be, or the reasons."""
    second = likely_second(reading)
    if second is not None and has(reading.reasons, Code.BOX_UNCERTAIN):
        return f"or {second}?"
    return words(reading.reasons)


def _outside(card: OutsideCard) -> Plain:
    count = len(card.fields)
    lie = "One field lies" if count == 1 else f"{count} fields lie"
    return {
        "kind": "outside",
        "title": f"{lie} outside the picture",
        "why": "They are not recorded from this photo. Another one of the same sheet fills them "
        "in.",
        "fields": [field.spec.label for field in card.fields],
        "take": "Ask for another photo",
    }


def _photos(card: PhotosCard) -> Plain:
    labels = {f.spec.name: f.spec.label for s in card.sheets for f in s.fields}
    return {
        "kind": "photos",
        "title": f"{len(card.sheets)} photos of one site and date say different things",
        "why": _which_is_it(card),
        "unlike": card.unlike,
        "labels": list(labels.values()),
        "sheets": [_sheet(sheet, labels) for sheet in card.sheets],
        "take": None if card.unlike else "Same sheet, 1 serves",
    }


def _sheet(sheet: SheetInPhoto, names: Iterable[str]) -> Plain:
    said = {stated.spec.name: stated for stated in sheet.fields}
    about = sheet.date or sheet.site
    return {
        "photo": one_line(sheet.place.photo, 50),
        "sheet": f"/picture/sheet/{sheet.page_instance_id}",
        "key": _close(about.reading) if about else None,
        "values": [_said(said.get(name)) for name in names],
    }


def _said(stated: Stated | None) -> str:
    if stated is None:
        return "not on it"
    return (stated.value or "nothing") + ("" if stated.sure else " (doubtful)")


def _which_is_it(card: PhotosCard) -> str:
    """The question about photos that contradict each other."""
    if not card.unlike:
        return "The same sheet again, or two different sheets: which date or site is wrong?"
    what = "Two different sheets: which date or site is wrong? Or the same sheet again?"
    if not card.compared:
        return what
    return f"{card.differing} of {card.compared} fields that both say surely differ. {what}"


def sentence(text: str) -> str:
    """``text`` with a capital in front and a stop behind.

    >>> sentence("not on the list"), sentence("Really?")
    ('Not on the list.', 'Really?')
    """
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", ":", "?", "!")) else f"{text}."
