"""The queue of a review: what is asked now, each thing once. Pure functions over visits.

It is made anew after every answer, so that nothing is asked that an answer has settled. The order:
photo by photo; on a sheet first whether it is another photo's, then site and date, then what lies
outside the picture, then sums and single fields as printed.

Site, date, totals and very doubtful fields are typed blind: looking at a value beside the reader's
guess misses errors, visual checking left many times more of them than keying twice (Barchard & Pace
2011, Computers in Human Behavior 27:1834).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from sheet_reader.answers.questions import (
    AlikeCard,
    Card,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SheetInPhoto,
    Stated,
    SumCard,
)
from sheet_reader.answers.replies import same_sheet
from sheet_reader.numbers import REVIEW
from sheet_reader.reasons import Code, Occlusion, Reason
from sheet_reader.record.history.blind_answers import OwnLook, Place, asked_twice
from sheet_reader.record.history.row_sums import sum_off
from sheet_reader.record.history.states import FieldState, VisitState
from sheet_reader.review.clashes import clashing, least_alike, own_value, surely
from sheet_reader.study.study import Study

HIDDEN = (Code.HIDDEN, Code.BOX_HIDDEN)
UNCLEAR = (
    Code.UNCERTAIN, Code.BOX_UNCERTAIN, Code.STROKE_LEAVES, Code.ODD_SHEET, Code.BOX_STRUCK,
)  # fmt: skip
"""How the number is written is not clear, and nothing else speaks against it."""


def cards_of(study: Study, visits: Iterable[VisitState]) -> list[Card]:
    """Everything a person is asked about, in the order in which it is asked."""
    return Queue(study).cards(visits)


class Queue:
    """The cards of visits, visit by visit: one that is the same object as the last time has the
    same cards.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        self._specs = {spec.name: spec for spec in study.fields}
        self._order = {name: number for number, name in enumerate(self._specs)}
        self._known: dict[int, tuple[VisitState, list[Card]]] = {}

    def cards(self, visits: Iterable[VisitState]) -> list[Card]:
        """Everything that is asked, in order."""
        self._known = {
            id(visit): self._known.get(id(visit)) or (visit, self._of_visit(visit))
            for visit in visits
        }
        return sorted((c for _, cards in self._known.values() for c in cards), key=self._rank)

    def _rank(self, card: Card) -> tuple[int, int, int, int]:
        place, step = card.place, 3
        if isinstance(card, PhotosCard):
            step = 0
        elif isinstance(card, FieldCard) and card.spec.kind.is_key:
            step = 1
        elif isinstance(card, OutsideCard):
            step = 2
        order = self._order.get(place.field, 999)
        return place.photo_id, place.page_instance_id, step, order

    def _of_visit(self, visit: VisitState) -> list[Card]:
        asked = [e for e in visit.fields if e.needs_review and e.field in self._specs]
        if (photos := self._photos_unlike(visit)) is not None:
            return [photos]
        cards: list[Card] = list(self._sums(visit, asked))
        told = {s.reading.reading_id for c in cards if isinstance(c, SumCard) for s in c.fields}
        outside: dict[int, list[FieldCard]] = {}
        for e in asked:
            if e.reading_id in told:
                continue
            card = self._field(visit, e)
            if is_outside(e.reasons) and not e.rivals:
                outside.setdefault(e.page_instance_id, []).append(card)
            else:
                cards.append(card)
        cards = self._alike_together(sorted(cards, key=lambda c: self._order[c.place.field]))
        return cards + [OutsideCard(tuple(fields)) for fields in outside.values()]

    def _alike_together(self, cards: Iterable[Card]) -> list[Card]:
        """The cards, in printed order, with counts of one sheet on one card whose only doubt is
        that the hand or the photo is not clear.
        """
        found: list[Card] = []
        alike: dict[int, list[FieldCard]] = {}
        for card in cards:
            if isinstance(card, FieldCard) and likely_right(self.study, card):
                alike.setdefault(card.place.page_instance_id, []).append(card)
            else:
                found.append(card)
        for fields in alike.values():
            for start in range(0, len(fields), REVIEW.most_alike):
                some = fields[start : start + REVIEW.most_alike]
                seen = (Stated(c.reading, c.spec, c.reading.read_value, "flagged") for c in some)
                found.append(some[0] if len(some) == 1 else AlikeCard(tuple(seen)))
        return found

    def stated(self, e: FieldState) -> Stated:
        """A field of a page as a card shows it."""
        spec, decided = self._specs[e.field], e.decision is not None
        return Stated(e, spec, own_value(e), e.status, decided, surely(e))

    def _field(self, visit: VisitState, e: FieldState) -> FieldCard:
        """One field, with what other photos say of it; then also the question about those photos.
        """
        rivals = {rival.page_instance_id for rival in e.rivals}
        others = tuple(
            self.stated(other)
            for other in visit.fields
            if other.field == e.field and other.page_instance_id in rivals
        )
        photos = None
        if others and visit.site and visit.visit_date:
            pages = {e.page_instance_id, *rivals}
            photos = self._photos(visit, pages, {e.field})
        return FieldCard(e, self._specs[e.field], others, photos)

    def _sums(self, visit: VisitState, asked: Sequence[FieldState]) -> Iterator[SumCard]:
        """A card for each sum that does not fit and of which a field waits; a field is on one only.
        """
        serving = visit.serving
        waits = {e.reading_id for e in asked}
        taken: set[str] = set()
        for rule in self.study.sums:
            names = rule.fields
            fields = [serving[name] for name in names if name in serving]
            if len(fields) != len(names) or taken & set(names) or any(map(_by_itself, fields)):
                continue
            if not waits & {e.reading_id for e in fields}:
                continue
            if (reason := sum_off(names, [e.value for e in fields])) is not None:
                taken |= set(names)
                yield SumCard(tuple(self.stated(e) for e in fields), reason)

    def second_looks(
        self, visits: Iterable[VisitState], looks: Mapping[Place, Sequence[OwnLook]], by: str
    ) -> list[FieldCard]:
        """The fields that ``by`` is asked as the second of two people, and those of which two
        people said different things and nobody has decided since.
        """
        found = []
        for visit in visits:
            for e in visit.fields:
                made = looks.get((e.page_instance_id, e.field), ())
                if not made or e.decision is None or e.field not in self._specs:
                    continue
                spec = self._specs[e.field]
                said = {look.said for look in made}
                if len(made) == 1 and by not in (made[0].by, e.decision.by):
                    found.append(FieldCard(e, spec, second=True))
                elif len(said) > 1 and e.decision.decision_id <= made[-1].after:
                    typed = tuple((look.by, look.said) for look in made)
                    found.append(FieldCard(e, spec, typed=typed))
        return sorted(found, key=lambda card: (bool(card.typed), self._rank(card)))

    def _photos_unlike(self, visit: VisitState) -> PhotosCard | None:
        """The question whether photos show one sheet, where they contradict each other and nobody
        said so yet.
        """
        found = clashing(visit, self.study.keys) if visit.site and visit.visit_date else {}
        if not found:
            return None
        card = self._photos(visit, set(found), set().union(*found.values()))
        return card if same_sheet(card).fields else None  # else nothing could note the answer

    def _photos(self, visit: VisitState, pages: set[int], names: set[str]) -> PhotosCard:
        unlike, differing, compared = least_alike(visit, pages, self.study.keys)
        sheets = [
            self.sheet(visit, page.page_instance_id, names)
            for page in visit.pages
            if page.page_instance_id in pages
        ]
        return PhotosCard(tuple(sheets), differing, compared, unlike)

    def sheet(
        self, visit: VisitState, page: int, names: set[str], place: FieldState | None = None
    ) -> SheetInPhoto:
        """A sheet with these fields of it, named by the first unless by another ``place``."""
        shown = {
            e.field: self.stated(e)
            for e in visit.fields
            if e.page_instance_id == page and e.field in self._specs
        }
        told = tuple(shown[name] for name in self._specs if name in names and name in shown)
        site, day = (shown.get(name) for name in self.study.keys)
        return SheetInPhoto(place or told[0].reading, site, day, told)


def sheet_of(study: Study, visits: Iterable[VisitState], place: FieldState) -> SheetInPhoto | None:
    """The sheet on which a field stands, with its site and date as they stand; None where the
    record has it no more.
    """
    page = place.page_instance_id
    for visit in visits:
        if any(seen.page_instance_id == page for seen in visit.pages):
            return Queue(study).sheet(visit, page, set(), place)
    return None


def likely_right(study: Study, card: FieldCard) -> bool:
    """Whether a field is not clear, but likely right as read, and nothing else speaks against it;
    never one that is typed blind.
    """
    reading = card.reading
    if card.others or reading.rivals or reading.read_value is None or keyed_blind(card, study):
        return False
    unclear = all(reason.code in UNCLEAR for reason in reading.reasons)
    return unclear and reading.confidence >= REVIEW.likely_right


def keyed_blind(card: FieldCard, study: Study) -> bool:
    """Whether the answer is typed before the reading is shown.

    Site, date and totals always, any field that is hardly better than a coin flip, and those that
    two people are asked; not where photos contradict each other, since there values are compared
    side by side, nor where two people do.
    """
    if card.second or card.typed:
        return card.second
    if card.reading.read_value is None or card.others or card.reading.rivals:
        return False
    place = card.reading.page_instance_id, card.reading.field
    return (
        card.spec.kind.is_key
        or any(rule.total == card.spec.name for rule in study.sums)
        or card.reading.confidence < REVIEW.coin_flip
        or asked_twice(study, place)
    )


def is_outside(reasons: Sequence[Reason]) -> bool:
    """Whether a field, or some of its boxes, can't be read since it lies outside the picture."""
    return any(r.code in HIDDEN and r["why"] == Occlusion.OUTSIDE.value for r in reasons)


def _by_itself(e: FieldState) -> bool:
    """Whether a field is no matter of its sum: nothing was read, which is asked, or another reading
    contradicts the value that it holds.
    """
    if e.status == "doubted" and (not e.needs_review or e.value != own_value(e)):
        return True
    return bool(e.rivals) or (e.needs_review and e.value is None)
