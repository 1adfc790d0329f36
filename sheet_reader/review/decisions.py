"""From an answer to a card to what the record keeps. Pure functions, whatever the front end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from sheet_reader.reasons import Reason
from sheet_reader.record.history.answering import SheetAnswer
from sheet_reader.record.history.answers import (
    Accept,
    Answer,
    FieldAnswer,
    Illegible,
    LeftEmpty,
    PhotoAsked,
    SameSheet,
    SumTold,
    Value,
)
from sheet_reader.record.history.row_sums import sum_off
from sheet_reader.record.history.states import FieldState, Rival
from sheet_reader.review.cards import (
    AlikeCard,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SheetSeen,
    Stated,
    SumCard,
)

Kind = Literal["confirmed", "corrected", "other"]


@dataclass(frozen=True, slots=True)
class Reply:
    """What an answer decides, kept together: of fields, or of a whole ``sheet``. ``kind`` is how it
    counts, ``said`` the answer in a few words.
    """

    fields: tuple[FieldAnswer, ...] = ()
    kind: Kind = "other"
    said: str = ""
    sheet: SheetAnswer | None = None


def field_reply(card: FieldCard, answer: Answer, *, blind: bool = False) -> Reply:
    """The answer to a doubtful field."""
    answer = _as_read(answer, card.reading.read_value)
    pages = [card.reading, *(other.reading for other in card.others)]
    same = SameSheet(tuple(sorted({page.page_instance_id for page in pages})))
    told = (same,) if card.others and not isinstance(answer, Illegible) else ()
    kept = FieldAnswer(card.reading.reading_id, answer, card.reading.rivals, told, blind)
    return Reply((kept,), kind_of(answer), words_of(answer, card.reading.read_value))


def _as_read(answer: Answer, read: str | None) -> Answer:
    same = isinstance(answer, Value) and answer.text == read
    return Accept() if same else answer


def kind_of(answer: Answer) -> Kind:
    """How an answer counts."""
    if isinstance(answer, Accept):
        return "confirmed"
    return "corrected" if isinstance(answer, Value) else "other"


def words_of(answer: Answer, read: str | None) -> str:
    """An answer in a few words."""
    if isinstance(answer, Value):
        return answer.text
    if isinstance(answer, Accept):
        return read or "nothing written"
    return "nothing written" if isinstance(answer, LeftEmpty) else "can't be read"


def sum_reply(card: SumCard, said: Mapping[int, Answer] | None = None) -> Reply:
    """The answer to a sum that does not fit: as written, or what the fields at these places (0: the
    total) say instead. All others stand as they are. That it does not fit is noted where it still
    does not.
    """
    said = said or {}
    after = sum_after(card, said)
    names = tuple(stated.spec.name for stated in card.fields)
    told = (SumTold(names, after),) if sum_off(names, after) else ()
    kept: list[FieldAnswer] = []
    for number, stated in enumerate(card.fields):
        own = said.get(number) or _standing(stated, again=not kept and bool(told))
        if own is not None:
            own = _as_read(own, stated.reading.read_value)
            kept.append(FieldAnswer(stated.reading.reading_id, own, told=() if kept else told))
    if not said:
        return Reply(tuple(kept), "confirmed", "as written")
    words = [f"{card.fields[n].spec.label}: {words_of(a, after[n])}" for n, a in said.items()]
    return Reply(tuple(kept), "corrected", "; ".join(words))


def alike_reply(card: AlikeCard, said: Mapping[int, Answer] | None = None) -> Reply:
    """The answer to several counts: each as read, or what those at these places say instead."""
    said = said or {}
    kept = tuple(
        FieldAnswer(stated.reading.reading_id, _as_read(said.get(n, Accept()), stated.value))
        for n, stated in enumerate(card.fields)
    )
    if not said:
        return Reply(kept, "confirmed", "all as read")
    words = [
        f"{card.fields[n].spec.label}: {words_of(a, card.fields[n].value)}" for n, a in said.items()
    ]
    return Reply(kept, "corrected", "; ".join(words))


def _standing(stated: Stated, *, again: bool) -> Answer | None:
    """The decision by which a field stands as it is; None where there is no need of one. ``again``
    repeats one that was taken before.
    """
    if stated.decided and not again:
        return None
    if stated.value is not None:
        return Value(stated.value)
    return LeftEmpty() if stated.status == "empty" else None


def sum_after(card: SumCard, said: Mapping[int, Answer]) -> tuple[str | None, ...]:
    """The values of a sum after an answer."""
    values = [stated.value for stated in card.fields]
    for place, answer in said.items():
        values[place] = answer.text if isinstance(answer, Value) else None
    return tuple(values)


def off_after(card: SumCard, said: Mapping[int, Answer]) -> Reason | None:
    """What is wrong with a sum after an answer, if anything."""
    return sum_off([stated.spec.name for stated in card.fields], sum_after(card, said))


def same_sheet(card: PhotosCard, serving: int = 0) -> Reply:
    """Photos of one sheet: the one at ``serving`` serves whole. What was doubtful in it is still
    asked, with all of them side by side.
    """
    best = card.sheets[serving]
    others = [sheet for n, sheet in enumerate(card.sheets) if n != serving]
    told = (SameSheet(tuple(sorted(sheet.page_instance_id for sheet in card.sheets))),)
    kept: list[FieldAnswer] = []
    if (carrier := _carrier(best)) is not None:
        kept.append(FieldAnswer(carrier.reading.reading_id, _stands(carrier), told=told))
    for stated in best.fields:
        rivals = _rivals(stated, others)
        if stated.sure and stated is not carrier and any(r.value != stated.value for r in rivals):
            about = () if kept else told
            answer = FieldAnswer(stated.reading.reading_id, _stands(stated), rivals, about)
            kept.append(answer)
    return Reply(tuple(kept), "confirmed", f"the same sheet, {best.place.photo} serves")


def _carrier(sheet: SheetSeen) -> Stated | None:
    """The field whose decision notes that photos show one sheet: the date, else the
    site.
    """
    found = [s for s in (sheet.date, sheet.site) if s is not None and s.value is not None]
    return next(iter(found), None)


def _stands(stated: Stated) -> Answer:
    """What a photo surely says, as an answer."""
    if stated.value is None:
        return LeftEmpty()
    return _as_read(Value(stated.value), stated.reading.read_value)


def _rivals(stated: Stated, others: list[SheetSeen]) -> tuple[Rival, ...]:
    return tuple(
        Rival(sheet.page_instance_id, other.value)
        for sheet in others
        for other in sheet.fields
        if other.spec.name == stated.spec.name
    )


def other_place(sheet: SheetSeen, kind: Literal["site", "date"], value: str) -> Reply:
    """A sheet that has another site or date (ISO 8601) than was read."""
    place = sheet.place
    said = f"{place.photo}: {value}"
    stated = sheet.date if kind == "date" else sheet.site
    if stated is not None:
        return Reply((FieldAnswer(stated.reading.reading_id, Value(value)),), "corrected", said)
    was = place.visit_date if kind == "date" else place.site
    moved = SheetAnswer(place.photo_id, place.page_instance_id, kind, value, was or None)
    return Reply((), "corrected", said, moved)


def read_on(card: OutsideCard, *, ask_photo: bool) -> Reply:
    """What lies outside the picture is not recorded from this photo; another one fills it in."""
    told = (PhotoAsked(),) if ask_photo else ()
    kept = tuple(
        FieldAnswer(field.reading.reading_id, Illegible(), field.reading.rivals, told)
        for field in card.fields
    )
    return Reply(kept, "other", "another photo is asked for" if ask_photo else "read on without")


def set_aside(place: FieldState, reason: str = "") -> Reply:
    """A sheet that counts nowhere."""
    sheet = SheetAnswer(place.photo_id, place.page_instance_id, "aside", reason=reason)
    return Reply(said="set aside", sheet=sheet)
