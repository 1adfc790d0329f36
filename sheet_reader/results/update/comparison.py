"""The comparison of two plots over all sites: one main figure, and what stands beside it.

Main figure: the ratio of densities, treated to control, at a typical site (see ``typical_site``).
The pooled ratio (all animals of one plot to all of the other) is another estimand, ruled by the
sites with many animals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sheet_reader.errors import UsageError
from sheet_reader.results.update.frame import checked
from sheet_reader.results.update.misreading import Misreading, misreading
from sheet_reader.results.update.missed import Missed
from sheet_reader.results.update.model import Outline
from sheet_reader.results.update.pairs import LeftOut, counts_of, pair_visits
from sheet_reader.results.update.statement import Statement, state

ESTIMAND = (
    "median over sites of the ratio of densities (treated / control): binomial model of the "
    "treated animals among all of a site, random site effect, effort as offset"
)


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """All about one count in two plots. Ratios are treated to control.

    ``sites`` and ``visits`` are what everything was worked out from (see ``pairs``). ``statement``
    is what may be said. ``pooled`` is the pooled ratio, another estimand, None where the control
    plots have no find. ``effort_ratio`` is the effort in the treated plots to that in the control
    plots. ``missed`` tells whether missing visits go with the counts.
    """

    count: str
    outline: Outline
    visits: pd.DataFrame
    sites: pd.DataFrame
    left_out: LeftOut
    missed: Missed
    look: int
    planned_looks: int
    statement: Statement
    pooled: float | None
    effort_ratio: float | None
    misreading: Misreading | None

    @property
    def both_zero(self) -> int:
        """Sites without a find in either plot."""
        return len(self.sites) - self.statement.sites

    @property
    def animals(self) -> int:
        """All that were counted in both plots of all sites."""
        return int(self.sites[["value_treated", "value_control"]].to_numpy().sum())

    @property
    def typical(self) -> tuple[float, float] | None:
        """Densities of treated and control plot at a typical site: a site of middling numbers with
        the ratio of the statement. None where nothing may be said or one would be zero.
        """
        ratio = self.statement.ratio
        if not self.statement.says or not ratio or not np.isfinite(ratio):
            return None
        total = self.sites["value_treated"] + self.sites["value_control"]
        level = total / (ratio * self.sites["effort_treated"] + self.sites["effort_control"])
        control = float(level[total > 0].median())
        return ratio * control, control

    def frame(self) -> pd.DataFrame:
        """One line per method: estimand, ratio, bounds, level, sites and a note. ``sites`` are
        those with a find for the typical site, all for the pooled ratio.
        """
        said, lines = self.statement, []
        note: str = "" if said.says else said.verdict
        if said.ratio is None:
            note = "fewer than two sites with both plots have a find"
        for name, bounds in (("all looks", said.widened), ("one look", said.plain)):
            ends = (bounds.lower, bounds.upper, bounds.level) if bounds else (None, None, None)
            method = f"typical site, {name}"
            lines.append((method, ESTIMAND, said.ratio, *ends, said.sites, note))
        pooled = ("ratio of the sums", self.pooled, None, None, None, len(self.sites), "")
        columns = ["method", "estimand", "ratio", "lower", "upper", "level", "sites", "note"]
        return pd.DataFrame([*lines, ("pooled", *pooled)], columns=columns)


def compare(
    counts: pd.DataFrame,
    outline: Outline,
    count: str = "",
    *,
    look: int = 1,
    seed: int = 0,
    reading_errors: bool = True,
) -> Comparison:
    """Compare the outline's two plots in ``count`` (the outline's own if left out).

    ``look`` is how often the comparison has been looked at, this time included; if that is more
    than planned, the range is widened for ``look`` looks. ``seed`` rules the simulation of
    reading errors. Raises UsageError for a frame that is not as described, a study without
    comparison, or an unknown plot or count.
    """
    name = count or outline.count.name
    _check_names(checked(counts), outline, name)
    paired = pair_visits(counts, outline, name)
    sites = paired.sites
    planned = max(outline.planned_updates, look)
    said = state(counts_of(paired.visits), planned)
    effort = float(sites["effort_treated"].sum()), float(sites["effort_control"].sum())
    return Comparison(
        count=name,
        outline=outline,
        visits=paired.visits,
        sites=sites,
        left_out=paired.left_out,
        missed=paired.missed,
        look=look,
        planned_looks=planned,
        statement=said,
        pooled=pooled_ratio(sites),
        effort_ratio=effort[0] / effort[1] if outline.effort and effort[1] else None,
        misreading=misreading(
            paired.visits,
            outline.allowed_error,
            with_effort=outline.effort is not None,
            highest=outline.highest if name == outline.count.name else None,
            seed=seed,
        )
        if reading_errors and said.says
        else None,
    )


def pooled_ratio(sites: pd.DataFrame) -> float | None:
    """All treated animals per effort to all control animals per effort; None for no control."""
    sums = sites[["value_treated", "effort_treated", "value_control", "effort_control"]].sum()
    if not sums["value_control"]:
        return None
    treated = sums["value_treated"] / sums["effort_treated"]
    return float(treated / (sums["value_control"] / sums["effort_control"]))


def _check_names(counts: pd.DataFrame, outline: Outline, count: str) -> None:
    if not outline.compares:
        raise UsageError("this study compares no plots", remedy="name a treated and a control plot")
    if outline.treated == outline.control:
        raise UsageError(f"the plot {outline.treated} can't be compared with itself")
    if len(counts) and count not in set(counts["count"]):
        raise UsageError(f"there is no count named {count}")
    plots = {plot.name for plot in outline.plots}
    for plot in (outline.treated, outline.control):
        if plot not in plots:
            raise UsageError(f"there is no plot named {plot}")
