"""Many fields at once: all read as the same number, side by side, and the odd ones are picked out.

People miss rare odd ones: at one in a hundred about 30 % (PMC4224304). So some that surely say
something else are put among them; whoever misses one of those is asked about each field by itself.
What is planted is never kept as an answer.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field

from sheet_reader.answers.questions import AlikeCard, Card, FieldCard, Stated
from sheet_reader.decode.error_share import ObservedError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.states import ANSWERED, FieldState, VisitState
from sheet_reader.review.face import Plain
from sheet_reader.review.queue import likely_right
from sheet_reader.study.study import Study
from sheet_reader.wording import percent

LEAST, MOST = REVIEW.least_tiles, REVIEW.most_tiles


@dataclass(frozen=True, slots=True)
class GridField:
    """One picture of the grid: a field that waits, or (``field`` None) a planted one that says
    ``value``.
    """

    reading_id: int
    value: str
    field: Stated | None = None

    @property
    def picture(self) -> str:
        """Its address."""
        return f"/picture/boxes/{self.reading_id}"


@dataclass(frozen=True, slots=True)
class FieldGrid:
    """Fields all read as ``value``, with some planted among them, in the order shown."""

    value: str
    tiles: tuple[GridField, ...]

    @property
    def planted(self) -> frozenset[int]:
        """The places of the planted ones."""
        return frozenset(n for n, tile in enumerate(self.tiles) if tile.field is None)

    def left(self, picked: Collection[int]) -> AlikeCard | None:
        """The fields that were not picked out, as a card to be answered; None for none."""
        fields = tuple(t.field for n, t in enumerate(self.tiles) if t.field and n not in picked)
        return AlikeCard(fields) if fields else None


def make_grid(
    study: Study,
    visits: Sequence[VisitState],
    cards: Iterable[Card],
    rng: random.Random,
    but: Collection[int] = (),
) -> FieldGrid | None:
    """The largest group of likely-right fields read as one number, without the readings in
    ``but``; None where none is worth a grid, or nothing is known that could be planted in it.
    """
    groups: defaultdict[str, list[Stated]] = defaultdict(list)
    for stated in _likely(study, cards):
        if stated.value is not None and stated.reading.reading_id not in but:
            groups[stated.value].append(stated)
    for value, fields in sorted(groups.items(), key=lambda group: (-len(group[1]), group[0])):
        if len(fields) < LEAST:
            return None
        some = fields[:MOST]
        boxes = {stated.spec.boxes for stated in some}
        alike = {spec.name for spec in study.fields if spec.plot and spec.boxes in boxes}
        count = max(1, round(REVIEW.planted_share * len(some)))
        planted = _known_others(visits, value, alike, rng)[:count]
        if planted:
            tiles = [GridField(stated.reading.reading_id, value, stated) for stated in some]
            tiles += [GridField(e.reading.reading_id, e.value or "") for e in planted]
            rng.shuffle(tiles)
            return FieldGrid(value, tuple(tiles))
    return None


def _likely(study: Study, cards: Iterable[Card]) -> Iterable[Stated]:
    for card in cards:
        fields: tuple[Stated, ...] = ()
        if isinstance(card, AlikeCard):
            fields = card.fields
        elif isinstance(card, FieldCard) and likely_right(study, card):
            fields = (Stated(card.reading, card.spec, card.reading.read_value, "flagged"),)
        yield from (s for s in fields if s.reading.confidence >= REVIEW.grid_right)


def _known_others(
    visits: Iterable[VisitState], value: str, names: Collection[str], rng: random.Random
) -> list[FieldState]:
    """Settled fields of these ``names`` that say another number of as many digits, those most like
    it first.
    """
    known = [
        e
        for visit in visits
        for e in visit.fields
        if e.is_current and e.value is not None and e.value != value and e.value.isdecimal()
        and len(e.value) == len(value) and e.reading.field in names
        and (e.status in ANSWERED
             or (e.status == "accepted" and e.reading.confidence >= REVIEW.surely_known))
    ]  # fmt: skip
    rng.shuffle(known)
    known.sort(key=lambda e: sum(a != b for a, b in zip(e.value or "", value, strict=True)))
    return known


@dataclass
class GridRounds:
    """The grids of a sitting, one at a time; ``now`` is the one that is shown. Fields of one in
    which something was missed come in no other. Of ``planted`` ones so many were ``missed``.
    """

    rng: random.Random = field(default_factory=random.SystemRandom)
    now: FieldGrid | None = None
    number: int = 0
    one_by_one: set[int] = field(default_factory=set)
    planted: int = 0
    missed: int = 0

    def lay(
        self, study: Study, visits: Sequence[VisitState], cards: Sequence[Card]
    ) -> Plain | None:
        """The next grid as plain data; nothing in it tells what is planted."""
        self.now = make_grid(study, visits, cards, self.rng, self.one_by_one)
        if self.now is None:
            return None
        self.number += 1
        tiles = [tile.picture for tile in self.now.tiles]
        return {"value": self.now.value, "tiles": tiles, "number": self.number}

    def waiting(self) -> set[int]:
        """The readings in the grid that wait."""
        tiles = self.now.tiles if self.now else ()
        return {tile.reading_id for tile in tiles if tile.field is not None}

    def done(self, message: Plain) -> tuple[Plain, AlikeCard | None] | None:
        """What a person made of the grid: what to tell, and the fields to be kept as read; None
        where the message is about another grid.
        """
        grid, picks = self.now, message.get("picked")
        if grid is None or message.get("number") != self.number:
            return None
        self.now = None
        picked = {n for n in picks if isinstance(n, int)} if isinstance(picks, list) else set()
        missed = sorted(grid.planted - picked)
        self.planted += len(grid.planted)
        self.missed += len(missed)
        told: Plain = {
            "missed": [{"picture": grid.tiles[n].picture, "value": grid.tiles[n].value}
                       for n in missed],
            "planted": len(grid.planted), "sentence": self.sentence, "kept": 0,
        }  # fmt: skip
        out = range(len(grid.tiles)) if missed else picked
        self.one_by_one |= {t.reading_id for n, t in enumerate(grid.tiles) if n in out}
        return told, None if missed else grid.left(picked)

    @property
    def sentence(self) -> str:
        """How many planted ones were missed, with an exact interval of the share."""
        low, high = ObservedError(self.missed, self.planted).interval
        return (
            f"{self.missed} of {self.planted} planted ones missed in this sitting "
            f"(95 % interval of the miss rate: {percent(low)} to {percent(high)})"
        )
