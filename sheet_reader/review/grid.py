"""Many fields at once: all read as the same number, side by side, and the odd ones are picked out.

People miss rare odd ones: at one in a hundred about 30 % (PMC4224304). So some that surely say
something else are put among them; whoever misses one of those is asked about each field by itself.
What is planted is never kept as an answer.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from sheet_reader.decode.error_share import ObservedError
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.states import FieldState, VisitState
from sheet_reader.review.cards import AlikeCard, Card, FieldCard, Stated
from sheet_reader.review.queue import likely_right
from sheet_reader.study.model import Study
from sheet_reader.wording import percent

LEAST, MOST = REVIEW.least_tiles, REVIEW.most_tiles
PLANTED_SHARE = REVIEW.planted_share


@dataclass(frozen=True, slots=True)
class Tile:
    """One picture of the grid: a field that waits, or (``field`` None) a planted one that says
    ``value``.
    """

    reading_id: int
    value: str
    field: Stated | None = None


@dataclass(frozen=True, slots=True)
class Grid:
    """Fields all read as ``value``, with some planted among them, in the order shown."""

    value: str
    tiles: tuple[Tile, ...]

    @property
    def planted(self) -> frozenset[int]:
        """The places of the planted ones."""
        return frozenset(n for n, tile in enumerate(self.tiles) if tile.field is None)

    def left(self, picked: Iterable[int]) -> AlikeCard | None:
        """The fields that were not picked out, as a card to be answered; None for none."""
        out = set(picked)
        fields = tuple(t.field for n, t in enumerate(self.tiles) if t.field and n not in out)
        return AlikeCard(fields) if fields else None


def make_grid(
    study: Study,
    visits: Sequence[VisitState],
    cards: Iterable[Card],
    rng: random.Random,
    but: frozenset[int] = frozenset(),
) -> Grid | None:
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
        alike = {spec.name for spec in study.fields if spec.kind == "count" and spec.boxes in boxes}
        count = max(1, round(PLANTED_SHARE * len(some)))
        planted = _known_others(visits, value, alike, rng)[:count]
        if planted:
            tiles = [Tile(stated.reading.reading_id, value, stated) for stated in some]
            tiles += [Tile(e.reading.reading_id, e.value or "") for e in planted]
            rng.shuffle(tiles)
            return Grid(value, tuple(tiles))
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
        and (e.status in ("confirmed", "corrected") or _surely(e))
    ]  # fmt: skip
    rng.shuffle(known)
    known.sort(key=lambda e: sum(a != b for a, b in zip(e.value or "", value, strict=True)))
    return known


def _surely(e: FieldState) -> bool:
    return e.status == "accepted" and e.reading.confidence >= REVIEW.surely_known


@dataclass
class Found:
    """How many of the planted ones a person has found in a sitting."""

    planted: int = 0
    found: int = 0

    @property
    def sentence(self) -> str:
        """In words, with an exact interval of the share missed."""
        missed = self.planted - self.found
        low, high = ObservedError(missed, self.planted).interval
        return (
            f"{missed} of {self.planted} planted ones missed in this sitting "
            f"(95 % interval of the miss rate: {percent(low)} to {percent(high)})"
        )
