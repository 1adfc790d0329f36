"""What every section of an update is written from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from sheet_reader.results.update.comparison import Comparison
from sheet_reader.results.update.frame import usable
from sheet_reader.results.update.legend import Legend
from sheet_reader.results.update.model import Outline, Update
from sheet_reader.results.update.words import Words


@dataclass(frozen=True)
class Desk:
    """Counts up to the update's day, the comparison if the study has one, and the words."""

    counts: pd.DataFrame
    outline: Outline
    update: Update
    words: Words
    comparison: Comparison | None

    @cached_property
    def per(self) -> str:
        """As in: per plant, per visit."""
        effort = self.outline.effort
        return self.words("per", effort=effort.label) if effort else self.words("per_visit")

    @cached_property
    def density(self) -> str:
        """As in: blackfly colonies per plant."""
        return self.words("density", count=self.outline.count.label, per=self.per)

    @cached_property
    def found(self) -> bool:
        """Whether there was a find of the update's count anywhere."""
        mine = self.counts[self.counts["count"] == self.outline.count.name]
        return bool((usable(mine, with_effort=False)["value"] > 0).any())

    @cached_property
    def legend(self) -> Legend:
        """What the pictures are told."""
        return Legend(self.words, self.outline, self.density, self.update.for_site)

    @cached_property
    def arms(self) -> dict[str, str]:
        """The labels of the two compared plots, as names of the texts."""
        outline = self.outline
        return {
            "treated": outline.plot_label(outline.treated),
            "control": outline.plot_label(outline.control),
        }

    def number(self, value: float | None) -> str:
        """A number, or the sign for none: a ratio to nothing is none."""
        if value is None or pd.isna(value) or abs(value) == float("inf"):
            return self.words("none")
        return self.words.number(float(value))

    def sites(self, n: int) -> str:
        """As in: 31 sites."""
        return self.words.count("n_sites", n)
