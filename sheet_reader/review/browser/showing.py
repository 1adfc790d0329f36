"""A card as plain data for the page: every text is text, every picture an address.

What is typed blind has nothing in it that tells what was read.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sheet_reader.intake.files import one_line
from sheet_reader.numbers import REVIEW
from sheet_reader.reasons import Code, has
from sheet_reader.record.history.states import FieldState, VisitState
from sheet_reader.review.blind import keyed_blind
from sheet_reader.review.cards import (
    AlikeCard,
    Card,
    FieldCard,
    OutsideCard,
    PhotosCard,
    Stated,
    SumCard,
    which_is_it,
)
from sheet_reader.review.decisions import Reply
from sheet_reader.review.weighing import differ_line, likely_why, percent
from sheet_reader.study.model import FieldSpec, Study
from sheet_reader.wording import words

Plain = dict[str, Any]
LEAST_CHANCE = REVIEW.least_chance
LONGEST = REVIEW.page_reason_signs
STRUCK = (
    "All of it struck out: “nothing written” if no other number stands there (then it is not "
    "recorded), “can't be read” if one does that nobody can read."
)


@dataclass(frozen=True, slots=True)
class Around:
    """What is shown with a card: the ``study``, the ``visits``, whether it is an ``audit``, and
    the tokens of blind cards whose reading was ``shown`` after something was typed.
    """

    study: Study
    visits: Sequence[VisitState]
    audit: bool
    shown: frozenset[str]


def is_blind(card: Card, token: str, around: Around) -> bool:
    """Whether what was read is hidden still."""
    if not isinstance(card, FieldCard) or token in around.shown:
        return False
    return around.audit or keyed_blind(card, around.study)


def face(card: Card, token: str, around: Around, before: Reply | None = None) -> Plain:
    """The card, with the answer given ``before`` where it is shown once more."""
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
        blind = is_blind(card, token, around) and before is None
        return shown | _field(card, around, blind=blind)
    if isinstance(card, SumCard):
        return shown | _sum(card)
    if isinstance(card, AlikeCard):
        return shown | _alike(card)
    if isinstance(card, OutsideCard):
        return shown | _outside(card)
    return shown | _photos(card)


def place_lines(place: FieldState) -> list[str]:
    """Where a sheet belongs, part by part."""
    page = f", page {place.frame + 1}" if place.frame else ""
    return [
        f"site {place.site or 'not settled'}",
        f"visit {place.visit_date or 'not settled'}",
        f"sheet {place.sheet}, page {place.page}",
        f"photo {one_line(place.photo, 50)}{page}",
    ]


def pictures_of(card: Card) -> list[str]:
    """The addresses of the pictures without which the card can't be answered."""
    if isinstance(card, FieldCard):
        readings = [card.reading, *(other.reading for other in card.others)]
    elif isinstance(card, SumCard | AlikeCard):
        readings = [stated.reading for stated in card.fields]
    elif isinstance(card, OutsideCard):
        return [f"/picture/sheet/{card.place.page_instance_id}"]
    else:
        return [f"/picture/sheet/{sheet.page_instance_id}" for sheet in card.sheets]
    return [_close(reading) for reading in readings]


def _close(reading: FieldState) -> str:
    return f"/picture/close/{reading.reading_id}"


def _field(card: FieldCard, around: Around, *, blind: bool) -> Plain:
    reading, spec = card.reading, card.spec
    said: Plain = {
        "kind": "field",
        "field": spec.kind,
        "title": spec.label,
        "name": spec.name,
        "reading": reading.reading_id,
        "blind": blind,
        "why": one_line(words(reading.reasons, blind=blind), LONGEST),
        "hint": STRUCK if has(reading.reasons, Code.STRUCK_OUT) else "",
        "close": _close(reading),
        "row": f"/picture/row/{reading.reading_id}",
        "others": [_other(other) for other in card.others],
        "two_sheets": card.photos is not None,
        "beside": [] if spec.kind != "count" else list(_beside(card, around)),
    }
    if card.typed:
        said["why"] = one_line(differ_line(card), LONGEST)
    said["settle"] = bool(card.typed)
    if not blind:
        said["why"] = said["why"] or "not sure enough"
        said["read"] = _read(reading)
    return said


def _read(reading: FieldState) -> Plain:
    chance = percent(reading.confidence)
    found: Plain = {"value": reading.read_value, "chance": chance, "other": None}
    if reading.runner_up is not None and reading.runner_up_confidence >= LEAST_CHANCE:
        found |= {"other": reading.runner_up, "rest": percent(reading.runner_up_confidence)}
    return found


def _other(stated: Stated) -> Plain:
    value = "nothing" if stated.value is None else stated.value
    return {"photo": one_line(stated.reading.photo, 50), "value": value,
            "close": _close(stated.reading)}  # fmt: skip


def _beside(card: FieldCard, around: Around) -> Iterable[Plain]:
    """The same count of the other plots, and of this plot on the site's last visit."""
    here = next((v for v in around.visits if _has(v, card.reading.page_instance_id)), None)
    if here is None:
        return
    plots = {s.name: s for s in around.study.fields if s.count == card.spec.count and s.plot}
    for e in here.fields:
        if e.reading.field in plots and e.reading.field != card.spec.name and e.is_current:
            yield _small(e, plots[e.reading.field].label)
    earlier = [
        v for v in around.visits
        if v.site and v.site == here.site and "" < v.visit_date < here.visit_date
    ]  # fmt: skip
    last = max(earlier, key=lambda v: v.visit_date, default=None)
    for e in last.fields if last is not None else ():
        if e.reading.field == card.spec.name and e.is_current:
            yield _small(e, f"the visit before, {last.visit_date if last else ''}")


def _has(visit: VisitState, page: int) -> bool:
    return any(p.page_instance_id == page for p in visit.pages)


def _small(e: FieldState, label: str) -> Plain:
    value = e.value if e.value is not None else "not recorded"
    if e.status in ("flagged", "unreadable"):
        value = "still asked" if e.status == "flagged" else "can't be read"
    value += " (doubted)" if e.status == "doubted" else ""
    return {"label": label, "value": value, "boxes": f"/picture/boxes/{e.reading.reading_id}"}


def _sum(card: SumCard) -> Plain:
    parts = [
        {
            **_part(stated, stated.spec.label.split(": ", 1)[-1]),
            "total": number == 0,
        }
        for number, stated in enumerate(card.fields)
    ]
    return {
        "kind": "sum",
        "title": f"{card.fields[0].spec.label}: the sum does not fit",
        "all": "As written",
        "reading": card.fields[0].reading.reading_id,
        "why": one_line(words((card.reason,)), LONGEST),
        "parts": parts,
    }


def _part(stated: Stated, label: str) -> Plain:
    return {
        "label": label,
        "value": stated.value,
        "shown": stated.value if stated.value is not None else _nothing(stated),
        "why": "",
        "close": _close(stated.reading),
        "reading": stated.reading.reading_id,
        "total": False,
    }


def _alike(card: AlikeCard) -> Plain:
    """Several counts, shown as those of a sum are."""
    parts = [
        _part(stated, stated.spec.label) | {"why": one_line(likely_why(stated.reading), LONGEST)}
        for stated in card.fields
    ]
    return {
        "kind": "sum",
        "title": f"{len(parts)} counts of one sheet, each read with some doubt",
        "all": f"All {len(parts)} are right",
        "reading": card.fields[0].reading.reading_id,
        "why": "look at each: all may be right, or some may not.",
        "parts": parts,
    }


def _nothing(stated: Stated) -> str:
    return "nothing written" if stated.status == "empty" else "can't be read"


def _outside(card: OutsideCard) -> Plain:
    count = len(card.fields)
    lie = "One field lies" if count == 1 else f"{count} fields lie"
    return {
        "kind": "outside",
        "title": f"{lie} outside the picture",
        "why": "They are not recorded from this photo. Another one of the same sheet fills them "
        "in.",
        "fields": [field.spec.label for field in card.fields],
    }


def _photos(card: PhotosCard) -> Plain:
    specs: dict[str, FieldSpec] = {f.spec.name: f.spec for s in card.sheets for f in s.fields}
    sheets = []
    for sheet in card.sheets:
        said = {stated.spec.name: stated for stated in sheet.fields}
        about = sheet.date or sheet.site
        sheets.append(
            {
                "photo": one_line(sheet.place.photo, 50),
                "sheet": f"/picture/sheet/{sheet.page_instance_id}",
                "key": _close(about.reading) if about else None,
                "values": [_said(said.get(name)) for name in specs],
            }
        )
    return {
        "kind": "photos",
        "title": f"{len(card.sheets)} photos of one site and date say different things",
        "why": which_is_it(card),
        "unlike": card.unlike,
        "labels": [spec.label for spec in specs.values()],
        "sheets": sheets,
    }


def _said(stated: Stated | None) -> str:
    if stated is None:
        return "not on it"
    value = "nothing" if stated.value is None else stated.value
    return value if stated.sure else f"{value} (doubtful)"
