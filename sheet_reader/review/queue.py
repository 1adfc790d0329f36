"""The queue of a review: what is asked now, each thing once. Pure functions over visits.

It is made anew after every answer, so that nothing is asked that an answer has settled. The order:
photo by photo; on a sheet first whether it is another photo's, then site and date, then what lies
outside the picture, then sums and single fields as printed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from sheet_reader.numbers import REVIEW
from sheet_reader.reasons import Code, Occlusion, Reason
from sheet_reader.record.history.blind_answers import OwnLook, Place
from sheet_reader.record.history.row_sums import sum_off
from sheet_reader.record.history.states import FieldState, VisitState
from sheet_reader.review.blind import keyed_blind
from sheet_reader.review.cards import (
    AlikeCard,
    Card,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SheetSeen,
    Stated,
    SumCard,
)
from sheet_reader.review.clashes import clashing, least_alike, own_value, surely
from sheet_reader.review.decisions import same_sheet
from sheet_reader.study.model import FieldSpec, Study

HIDDEN = (Code.HIDDEN, Code.BOX_HIDDEN)
UNCLEAR = (
    Code.UNCERTAIN, Code.BOX_UNCERTAIN, Code.STROKE_LEAVES, Code.ODD_SHEET, Code.BOX_STRUCK,
)  # fmt: skip
"""How the number is written is not clear, and nothing else speaks against it."""
MOST_ALIKE = REVIEW.most_alike


def cards_of(study: Study, visits: Iterable[VisitState]) -> list[Card]:
    """Everything a person is asked about, in the order in which it is asked."""
    specs = {spec.name: spec for spec in study.fields}
    order = {name: number for number, name in enumerate(specs)}
    cards = [card for visit in visits for card in _of_visit(study, visit, specs)]
    return sorted(cards, key=lambda card: _rank(card, order))


class Queue:
    """The queue made anew after every answer, visit by visit: one that is the same object as the
    last time has the same cards.
    """

    def __init__(self, study: Study) -> None:
        self._study = study
        self._specs = {spec.name: spec for spec in study.fields}
        self._order = {name: number for number, name in enumerate(self._specs)}
        self._known: dict[int, tuple[VisitState, list[Card]]] = {}

    def cards(self, visits: Iterable[VisitState]) -> list[Card]:
        """As :func:`cards_of`."""
        known: dict[int, tuple[VisitState, list[Card]]] = {}
        for visit in visits:
            before = self._known.get(id(visit))
            if before is None:
                before = visit, _of_visit(self._study, visit, self._specs)
            known[id(visit)] = before
        self._known = known
        found = [card for _, cards in known.values() for card in cards]
        return sorted(found, key=lambda card: _rank(card, self._order))


def _rank(card: Card, order: dict[str, int]) -> tuple[int, int, int, int]:
    place = card.place
    step = 3
    if isinstance(card, PhotosCard):
        step = 0
    elif isinstance(card, FieldCard) and card.spec.kind in ("site", "date"):
        step = 1
    elif isinstance(card, OutsideCard):
        step = 2
    return place.photo_id, place.page_instance_id, step, order.get(place.field, 999)


def _of_visit(study: Study, visit: VisitState, specs: dict[str, FieldSpec]) -> list[Card]:
    asked = [e for e in visit.fields if e.needs_review and e.field in specs]
    if (photos := _photos_card(study, visit, specs)) is not None:
        return [photos]
    cards: list[Card] = list(_sum_cards(study, visit, specs, asked))
    told = {s.reading.reading_id for c in cards if isinstance(c, SumCard) for s in c.fields}
    left = [e for e in asked if e.reading_id not in told]
    outside: dict[int, list[FieldCard]] = {}
    for e in left:
        card = _field_card(study, visit, e, specs)
        if is_outside(e.reasons) and not e.rivals:
            outside.setdefault(e.page_instance_id, []).append(card)
        else:
            cards.append(card)
    order = list(specs)
    cards = _alike_together(study, sorted(cards, key=lambda c: order.index(c.place.field)))
    return cards + [OutsideCard(tuple(fields)) for fields in outside.values()]


def _alike_together(study: Study, cards: Iterable[Card]) -> list[Card]:
    """The cards, in printed order, with counts of one sheet on one card whose only doubt is that
    the hand or the photo is not clear.
    """
    found: list[Card] = []
    alike: dict[int, list[FieldCard]] = {}
    for card in cards:
        if isinstance(card, FieldCard) and likely_right(study, card):
            alike.setdefault(card.place.page_instance_id, []).append(card)
        else:
            found.append(card)
    for fields in alike.values():
        for start in range(0, len(fields), MOST_ALIKE):
            some = fields[start : start + MOST_ALIKE]
            seen = (Stated(c.reading, c.spec, c.reading.read_value, "flagged") for c in some)
            found.append(some[0] if len(some) == 1 else AlikeCard(tuple(seen)))
    return found


def likely_right(study: Study, card: FieldCard) -> bool:
    """Whether a field is not clear, but likely right as read, and nothing else speaks against it;
    never one that is typed blind.
    """
    reading = card.reading
    if card.others or reading.rivals or reading.read_value is None or keyed_blind(card, study):
        return False
    unclear = all(reason.code in UNCLEAR for reason in reading.reasons)
    return unclear and reading.confidence >= REVIEW.likely_right


def _field_card(
    study: Study, visit: VisitState, e: FieldState, specs: dict[str, FieldSpec]
) -> FieldCard:
    """One field, with what other photos say of it; then also the question about those photos."""
    others = _others(visit, e, specs)
    photos = None
    if others and visit.site and visit.visit_date:
        pages = {e.page_instance_id, *(r.page_instance_id for r in e.rivals)}
        photos = _photos(study, visit, specs, pages, {e.field})
    return FieldCard(e, specs[e.field], others, photos)


def is_outside(reasons: Sequence[Reason]) -> bool:
    """Whether a field, or some of its boxes, can't be read since it lies outside the picture."""
    return any(r.code in HIDDEN and r["why"] == Occlusion.OUTSIDE.value for r in reasons)


def _others(
    visit: VisitState, asked: FieldState, specs: dict[str, FieldSpec]
) -> tuple[Stated, ...]:
    """The same field in the photos that say something else."""
    rivals = {rival.page_instance_id for rival in asked.rivals}
    return tuple(
        stated(e, specs)
        for e in visit.fields
        if e.field == asked.reading.field and e.page_instance_id in rivals
    )


def stated(e: FieldState, specs: Mapping[str, FieldSpec]) -> Stated:
    """A field of a page as a card shows it."""
    value, sure = own_value(e), surely(e)
    return Stated(e, specs[e.field], value, e.status, e.decision is not None, sure)


def _sum_cards(
    study: Study, visit: VisitState, specs: dict[str, FieldSpec], asked: Sequence[FieldState]
) -> Iterator[SumCard]:
    """A card for each sum that does not fit and of which a field waits; a field is on one only."""
    serving = {e.field: e for e in visit.fields if e.is_current}
    waits = {e.reading_id for e in asked}
    taken: set[str] = set()
    for rule in study.sums:
        names = (rule.total, *rule.parts)
        fields = [serving[name] for name in names if name in serving]
        if len(fields) != len(names) or taken & set(names) or any(map(_by_itself, fields)):
            continue
        if not waits & {e.reading_id for e in fields}:
            continue
        if (reason := sum_off(names, [e.value for e in fields])) is not None:
            taken |= set(names)
            yield SumCard(tuple(stated(e, specs) for e in fields), reason)


def _by_itself(e: FieldState) -> bool:
    """Whether a field is no matter of its sum: nothing was read, which is asked, or another reading
    contradicts the value that it holds.
    """
    if e.status == "doubted" and (not e.needs_review or e.value != own_value(e)):
        return True
    return bool(e.rivals) or (e.needs_review and e.value is None)


def twice_cards(
    study: Study, visits: Iterable[VisitState], looks: Mapping[Place, Sequence[OwnLook]], by: str
) -> list[FieldCard]:
    """The fields that ``by`` is asked as the second of two people, and those of which two people
    said different things and nobody has decided since.
    """
    specs = {spec.name: spec for spec in study.fields}
    found = []
    for visit in visits:
        for e in visit.fields:
            made = looks.get((e.page_instance_id, e.field), ())
            if not made or e.decision is None or e.field not in specs:
                continue
            spec = specs[e.field]
            if len(made) == 1 and by not in (made[0].by, e.decision.by):
                found.append(FieldCard(e, spec, second=True))
            elif len({look.said for look in made}) > 1 and e.decision.decision_id <= made[-1].after:
                typed = tuple((look.by, look.said) for look in made)
                found.append(FieldCard(e, spec, typed=typed))
    order = {name: number for number, name in enumerate(specs)}
    return sorted(found, key=lambda card: (bool(card.typed), _rank(card, order)))


def sheet_seen(study: Study, visits: Iterable[VisitState], place: FieldState) -> SheetSeen | None:
    """The sheet on which a field stands, with its site and date as they stand; None where the
    record has it no more.
    """
    page = place.page_instance_id
    specs = {spec.name: spec for spec in study.fields if spec.kind.is_key}
    for visit in visits:
        if any(seen.page_instance_id == page for seen in visit.pages):
            keys = {
                e.field: stated(e, specs)
                for e in visit.fields
                if e.page_instance_id == page and e.field in specs
            }
            site, day = study.keys
            return SheetSeen(place, keys.get(site), keys.get(day), ())
    return None


def _photos_card(study: Study, visit: VisitState, specs: dict[str, FieldSpec]) -> PhotosCard | None:
    """The question whether photos show one sheet, where they contradict each other and nobody said
    so yet.
    """
    if not (visit.site and visit.visit_date):
        return None
    keys = set(study.keys)
    found = clashing(visit, keys)
    if not found:
        return None
    card = _photos(study, visit, specs, set(found), set().union(*found.values()))
    return card if same_sheet(card).fields else None  # else nothing could note the answer


def _photos(
    study: Study, visit: VisitState, specs: dict[str, FieldSpec], pages: set[int], names: set[str]
) -> PhotosCard:
    seen = [page.page_instance_id for page in visit.pages if page.page_instance_id in pages]
    keys = set(study.keys)
    unlike, differing, compared = least_alike(visit, pages, keys)
    sheets = tuple(_sheet(study, visit, page, names, specs) for page in seen)
    return PhotosCard(sheets, differing, compared, unlike)


def _sheet(
    study: Study, visit: VisitState, page: int, names: set[str], specs: dict[str, FieldSpec]
) -> SheetSeen:
    here = [
        e
        for e in visit.fields
        if e.page_instance_id == page and e.field in specs
    ]
    shown = {e.field: stated(e, specs) for e in here}
    clashing = [shown[name] for name in specs if name in names and name in shown]
    site, day = study.keys
    return SheetSeen(clashing[0].reading, shown.get(site), shown.get(day), tuple(clashing))
