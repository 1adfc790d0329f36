"""What goes wrong beyond :mod:`habits`: pale pencil, the page behind, folds, tallies that spill.

How often each occurs is our guess, in two sets that are kept apart: the checked fields are made
with :data:`FOR_CALIBRATION`, the benchmark with :data:`FOR_BENCHMARK`, so that what is promised is
tested away from the rates it was made with. :data:`NONE` draws nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sheet_reader.parameters import parameter
from sheet_reader.simulate.parameters import SIMULATE

TroublesName = Literal["none", "calibration", "benchmark"]
_GUESS = "choice: our guess (common practice, no source)"


@dataclass(frozen=True, slots=True)
class Troubles:
    """Shares (0..1) of what goes wrong, and how badly."""

    faint: float = parameter(0.0, "share of sheets", _GUESS, "written in pale pencil")
    faint_darkness: tuple[float, float] = parameter(
        (0.12, 0.30), "share of light", _GUESS, "that a full pale line takes"
    )
    behind: float = parameter(
        0.0, "share of sheets", _GUESS, "through which the page behind shows, mirrored"
    )
    behind_strength: tuple[float, float] = parameter(
        (0.04, 0.14), "share of light", _GUESS, "that full ink on the page behind takes"
    )
    fold: float = parameter(0.0, "share of sheets", _GUESS, "folded through a row of boxes")
    fold_depth: tuple[float, float] = parameter(
        (0.10, 0.35), "share of light", _GUESS, "that the shadow along a fold takes"
    )
    fold_width_mm: tuple[float, float] = parameter(
        (0.5, 2.0), "mm", _GUESS, "standard deviation of the shadow along a fold"
    )
    spill: float = parameter(
        0.0, "share of tallies", _GUESS, "whose strokes reach into the first box"
    )
    roofed: float = parameter(0.0, "share of people", _GUESS, "whose 1 has a long roof")
    wrong_sum: float = parameter(
        SIMULATE.wrong_sum_share, "share of totals", _GUESS, "that a volunteer adds wrongly"
    )
    several_hands: float = parameter(
        0.0, "share of sites", _GUESS, "at which two or three people take turns"
    )

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
