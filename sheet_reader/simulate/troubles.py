"""What goes wrong beyond :mod:`habits`: pale pencil, the page behind, folds, tallies that spill.

How often each occurs is our guess, in two sets that are kept apart: the checked fields are made
with :data:`FOR_CALIBRATION`, the benchmark with :data:`FOR_BENCHMARK`, so that what is promised is
tested away from the rates it was made with. :data:`NONE` draws nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sheet_reader.numbers import SIMULATE

TroublesName = Literal["none", "calibration", "benchmark"]


@dataclass(frozen=True, slots=True)
class Troubles:
    """Shares (0..1) of what goes wrong, and how badly: our guesses (common practice, no source)."""

    faint: float = 0.0  # of sheets: written in pale pencil
    faint_darkness: tuple[float, float] = (0.12, 0.30)  # share of light a full pale line takes
    behind: float = 0.0  # of sheets: the page behind shows through, mirrored
    behind_strength: tuple[float, float] = (0.04, 0.14)  # share of light full ink behind takes
    fold: float = 0.0  # of sheets: folded through a row of boxes
    fold_depth: tuple[float, float] = (0.10, 0.35)  # share of light the shadow along it takes
    fold_width_mm: tuple[float, float] = (0.5, 2.0)  # standard deviation of that shadow
    spill: float = 0.0  # of tallies: their strokes reach into the first box
    roofed: float = 0.0  # of people: their 1 has a long roof
    wrong_sum: float = SIMULATE.wrong_sum_share  # of totals: added wrongly
    several_hands: float = 0.0  # of sites: two or three people take turns

    def of_sheet(self, rng: np.random.Generator) -> SheetTroubles:
        """What one sheet suffers. As many numbers are drawn whatever occurs."""
        rolls = rng.random(4)
        faint, behind = rng.uniform(*self.faint_darkness), rng.uniform(*self.behind_strength)
        depth, width = rng.uniform(*self.fold_depth), rng.uniform(*self.fold_width_mm)
        return SheetTroubles(
            faint=float(faint) if rolls[0] < self.faint else None,
            behind=float(behind) if rolls[1] < self.behind else None,
            fold=(float(depth), float(width)) if rolls[2] < self.fold else None,
            roofed=bool(rolls[3] < self.roofed),
            spill=self.spill,
        )


@dataclass(frozen=True, slots=True)
class SheetTroubles:
    """Of one sheet: the ``faint`` pencil's darkness, how strongly the page ``behind`` shows, the
    ``fold``'s depth and width (None: not so), whether its writer's 1 is ``roofed``, and the share
    of its tallies that ``spill``.
    """

    faint: float | None = None
    behind: float | None = None
    fold: tuple[float, float] | None = None
    roofed: bool = False
    spill: float = 0.0


UNTROUBLED = SheetTroubles()
NONE = Troubles()
FOR_CALIBRATION = Troubles(
    faint=0.06, behind=0.06, fold=0.06, spill=0.03, roofed=0.06, wrong_sum=0.03, several_hands=0.2
)
FOR_BENCHMARK = Troubles(
    faint=0.09,
    faint_darkness=(0.10, 0.26),
    behind=0.04,
    behind_strength=(0.05, 0.18),
    fold=0.10,
    fold_depth=(0.08, 0.42),
    spill=0.02,
    roofed=0.09,
    wrong_sum=0.05,
    several_hands=0.3,
)
TROUBLES: dict[str, Troubles] = {
    "none": NONE,
    "calibration": FOR_CALIBRATION,
    "benchmark": FOR_BENCHMARK,
}


def person_at(site: str, visit: int, troubles: Troubles) -> np.random.Generator:
    """Who fills in visit number ``visit`` of a ``site``, as a generator to draw the hand from: at
    most sites always the same person, at some one of two or three. The same arguments, the same
    person.
    """
    place = np.random.default_rng([int(site), 88])
    people = int(place.integers(2, 4)) if place.random() < troubles.several_hands else 1
    turn = int(np.random.default_rng([int(site), visit, 89]).integers(people))
    return np.random.default_rng([int(site), turn, 90])
