"""The grids of a sitting: which one is shown, what is asked one by one, how many were missed."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from sheet_reader.review.cards import AlikeCard, Card, FieldCard
from sheet_reader.review.desk import RecordDesk
from sheet_reader.review.grid import Found, Grid, make_grid


@dataclass
class Grids:
    """One grid at a time. Fields of one in which something was missed come in no other."""

    rng: random.Random = field(default_factory=random.SystemRandom)
    found: Found = field(default_factory=Found)
    now: Grid | None = None
    number: int = 0
    one_by_one: set[int] = field(default_factory=set)

    def lay(self, desk: RecordDesk, cards: Sequence[Card]) -> dict[str, Any] | None:
        """The next grid as plain data; nothing in it tells what is planted."""
        but = frozenset(self.one_by_one)
        self.now = make_grid(desk.study, desk.visits(), cards, self.rng, but)
        if self.now is None:
            return None
        self.number += 1
        tiles = [_picture(tile.reading_id) for tile in self.now.tiles]
        return {"value": self.now.value, "tiles": tiles, "number": self.number}

    def waiting(self) -> set[int]:
        """The readings in the grid that wait."""
        tiles = self.now.tiles if self.now else ()
        return {tile.reading_id for tile in tiles if tile.field is not None}

    def done(self, message: dict[str, Any]) -> tuple[dict[str, Any], AlikeCard | None] | None:
        """What a person made of the grid: what to tell, and the fields to be kept as read; None
        where the message is about another grid.
        """
        grid, picks = self.now, message.get("picked")
        if grid is None or message.get("number") != self.number:
            return None
        self.now = None
        picked = {n for n in picks if isinstance(n, int)} if isinstance(picks, list) else set()
        missed = sorted(grid.planted - picked)
        self.found.planted += len(grid.planted)
        self.found.found += len(grid.planted) - len(missed)
        told: dict[str, Any] = {
            "missed": [{"picture": _picture(grid.tiles[n].reading_id),
                        "value": grid.tiles[n].value} for n in missed],
            "planted": len(grid.planted), "sentence": self.found.sentence, "kept": 0,
        }  # fmt: skip
        out = range(len(grid.tiles)) if missed else picked
        self.one_by_one |= {t.reading_id for n, t in enumerate(grid.tiles) if n in out}
        return told, None if missed else grid.left(picked)


def readings_of(card: Card) -> set[int]:
    """The readings that a card of single fields is about."""
    if isinstance(card, AlikeCard):
        return {stated.reading.reading_id for stated in card.fields}
    return {card.reading.reading_id} if isinstance(card, FieldCard) else set()


def _picture(reading_id: int) -> str:
    return f"/picture/boxes/{reading_id}"
