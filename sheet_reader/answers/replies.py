"""From an answer to a card to what the record keeps. Pure functions, whatever the front end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from sheet_reader.answers.questions import (
    AlikeCard,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SheetInPhoto,
    Stated,
    SumCard,
)
from sheet_reader.reasons import Reason
from sheet_reader.record.history.answers import (
    Accept,
    Answer,
    FieldAnswer,
    Illegible,
    LeftEmpty,
    PhotoAsked,
    PlaceKind,
    SameSheet,
    SheetAnswer,
    SumTold,
    Value,
    place_answer,
    words_of,
)
from sheet_reader.record.history.row_sums import sum_off
from sheet_reader.record.history.states import FieldState, Rival

ReplyKind = Literal["confirmed", "corrected", "other"]


@dataclass(frozen=True, slots=True)
class Reply:
    """What an answer decides, kept together: of fields, or of a whole sheet. ``kind`` is how it
    counts, ``said`` the answer in a few words, ``reason`` why, where the person gave one.
    """

    decisions: tuple[FieldAnswer | SheetAnswer, ...] = ()
    kind: ReplyKind = "other"
    said: str = ""
    reason: str = ""

    @property
    def fields(self) -> tuple[FieldAnswer, ...]:
        """What is decided of fields."""
        return tuple(one for one in self.decisions if isinstance(one, FieldAnswer))

    @property
    def sheet(self) -> SheetAnswer | None:
        """What is decided of a sheet, if anything."""
        return next((one for one in self.decisions if isinstance(one, SheetAnswer)), None)


def field_reply(card: FieldCard, answer: Answer, *, blind: bool = False) -> Reply:
    """The answer to a doubtful field."""
    read = card.reading.read_value
    answer = _as_read(answer, read)
    pages = {card.reading.page_instance_id, *(o.reading.page_instance_id for o in card.others)}
    told = (SameSheet(tuple(sorted(pages))),) if card.others else ()
    if isinstance(answer, Illegible):
        told = ()
    kept = FieldAnswer(card.reading.reading_id, answer, card.reading.rivals, told, blind)
    kind: ReplyKind = "corrected" if isinstance(answer, Value) else "other"
    kind = "confirmed" if isinstance(answer, Accept) else kind
    return Reply((kept,), kind, words_of(answer, read))


def _as_read(answer: Answer, read: str | None) -> Answer:
    same = isinstance(answer, Value) and answer.text == read
    return Accept() if same else answer


def sum_reply(card: SumCard, said: Mapping[int, Answer] | None = None) -> Reply:
    """The answer to a sum that does not fit: as written, or what the fields at these places (0: the
    total) say instead. All others stand as they are. That it does not fit is noted where it still
    does not.
    """
    said = said or {}
    after = _sum_after(card, said)
    names = tuple(stated.spec.name for stated in card.fields)
    told = (SumTold(names, after),) if sum_off(names, after) else ()
    kept: list[FieldAnswer] = []
    for number, stated in enumerate(card.fields):
        own = said.get(number) or _standing(stated, again=not kept and bool(told))
        if own is not None:
            own = _as_read(own, stated.reading.read_value)
            kept.append(FieldAnswer(stated.reading.reading_id, own, told=() if kept else told))
    return _reply_to_several(card, kept, said, "as written")


def alike_reply(card: AlikeCard, said: Mapping[int, Answer] | None = None) -> Reply:
    """The answer to several counts: each as read, or what those at these places say instead."""
    said = said or {}
    kept = [
        FieldAnswer(stated.reading.reading_id, _as_read(said.get(n, Accept()), stated.value))
        for n, stated in enumerate(card.fields)
    ]
    return _reply_to_several(card, kept, said, "all as read")


def _reply_to_several(
    card: SumCard | AlikeCard, kept: list[FieldAnswer], said: Mapping[int, Answer], as_shown: str
) -> Reply:
    if not said:
        return Reply(tuple(kept), "confirmed", as_shown)
    words = [f"{card.fields[n].spec.label}: {words_of(a, None)}" for n, a in said.items()]
    return Reply(tuple(kept), "corrected", "; ".join(words))


def _standing(stated: Stated, *, again: bool) -> Answer | None:
    """The decision by which a field stands as it is; None where there is no need of one. ``again``
    repeats one that was taken before.
    """
    if stated.decided and not again:
        return None
    if stated.value is not None:
        return Value(stated.value)
    return LeftEmpty() if stated.status == "empty" else None


def _sum_after(card: SumCard, said: Mapping[int, Answer]) -> tuple[str | None, ...]:
    """The values of a sum after an answer."""
    values = [stated.value for stated in card.fields]
    for place, answer in said.items():
        values[place] = answer.text if isinstance(answer, Value) else None
    return tuple(values)


def off_after(card: SumCard, said: Mapping[int, Answer]) -> Reason | None:
    """What is wrong with a sum after an answer, if anything."""
    return sum_off([stated.spec.name for stated in card.fields], _sum_after(card, said))


def same_sheet(card: PhotosCard, serving: int = 0) -> Reply:
    """Photos of one sheet: the one at ``serving`` serves whole. What was doubtful in it is still
    asked, with all of them side by side. The date, else the site, notes that they show one sheet.
    """
    best = card.sheets[serving]
    others = [sheet for n, sheet in enumerate(card.sheets) if n != serving]
    told = (SameSheet(tuple(sorted(sheet.page_instance_id for sheet in card.sheets))),)
    keys = [s for s in (best.date, best.site) if s is not None and s.value is not None]
    kept = [FieldAnswer(key.reading.reading_id, _stands(key), told=told) for key in keys[:1]]
    for stated in best.fields:
        rivals = tuple(
            Rival(sheet.page_instance_id, other.value)
            for sheet in others
            for other in sheet.fields
            if other.spec.name == stated.spec.name
        )
        differs = any(rival.value != stated.value for rival in rivals)
        if stated.sure and stated not in keys[:1] and differs:
            number, about = stated.reading.reading_id, () if kept else told
            kept.append(FieldAnswer(number, _stands(stated), rivals, about))
    return Reply(tuple(kept), "confirmed", f"the same sheet, {best.place.photo} serves")


def _stands(stated: Stated) -> Answer:
    """What a photo surely says, as an answer."""
    if stated.value is None:
        return LeftEmpty()
    return _as_read(Value(stated.value), stated.reading.read_value)


def other_place(sheet: SheetInPhoto, kind: PlaceKind, value: str) -> Reply:
    """A sheet that has another site or date (ISO 8601) than was read."""
    stated = sheet.date if kind == "date" else sheet.site
    was = sheet.place.visit_date if kind == "date" else sheet.place.site
    number = None if stated is None else stated.reading.reading_id
    answer = place_answer(number, sheet.place, kind, value, was)
    return Reply((answer,), "corrected", f"{sheet.place.photo}: {value}")


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
    aside = SheetAnswer(place.photo_id, place.page_instance_id, "aside")
    return Reply((aside,), said="set aside", reason=reason)
