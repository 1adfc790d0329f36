"""The comparison of two plots over all sites: one main figure, and what stands beside it.

Main figure: the geometric mean over sites of each site's ratio of seasonal densities, with a t
interval over the sites. It says what happens at a typical site. The pooled ratio (all animals of
one plot to all of the other) is another estimand, ruled by the sites with many animals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy.stats import t as student

from sheet_reader.errors import UsageError
from sheet_reader.results.update import looks
from sheet_reader.results.update.frame import checked
from sheet_reader.results.update.gee import GeeView, gee_view
from sheet_reader.results.update.misreading import Misreading, misreading
from sheet_reader.results.update.model import Outline
from sheet_reader.results.update.pairs import LeftOut, pair_visits
from sheet_reader.results.update.ranks import SignedRank, signed_rank

LEAST_SITES = 6
"""Below this no verdict is given: with five sites not even the signed-rank test reaches 5 %. As
many must have had a find: without any, the ratio of densities tells the efforts apart, no more."""
ESTIMAND = (
    "geometric mean over sites of the ratio of densities (treated / control), "
    "each summed over the season, 0.5 added to both counts"
)
Verdict = Literal["fewer", "more", "open", "too few sites"]


@dataclass(frozen=True, slots=True)
class Interval:
    """Bounds of a ratio; ``level`` is the level of this single interval, 0..1."""

    lower: float
    upper: float
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """All about one count in two plots. Ratios are treated to control.

    ``sites`` and ``visits`` are what everything was worked out from (see ``pairs``). ``ratio`` and
    the intervals are None with fewer than two sites. ``pooled`` is the pooled ratio, another
    estimand, None where the control plots have no find. ``widened`` holds for all ``planned_looks``
    looks together; ``plain`` only if nobody looks more than once. ``effort_ratio`` is the effort
    in the treated plots to that in the control plots. ``both_zero`` counts sites without a find in
    either plot. ``by_ranks`` is on the log scale.
    """

    count: str
    outline: Outline
    visits: pd.DataFrame
    sites: pd.DataFrame
    left_out: LeftOut
    look: int
    planned_looks: int
    constant: float
    ratio: float | None
    pooled: float | None
    plain: Interval | None
    widened: Interval | None
    verdict: Verdict
    effort_ratio: float | None
    both_zero: int
    by_ranks: SignedRank | None
    gee: GeeView
    misreading: Misreading | None

    def frame(self) -> pd.DataFrame:
        """One line per method: estimand, ratio, bounds, level, sites and a note."""
        lines: list[tuple[str, str, float | None, float | None, float | None, float, str]] = []
        for name, interval in (("t, widened", self.widened), ("t, plain", self.plain)):
            if interval:
                lines.append((name, ESTIMAND, self.ratio, *_bounds(interval), ""))
        if self.by_ranks:
            r = self.by_ranks
            low, high = (None if b is None else float(np.exp(b)) for b in (r.lower, r.upper))
            note = f"V = {r.v:g}, p = {r.p:.4g}{'' if r.exact else ', ties or zeros'}"
            estimand = "exp of the pseudo-median of the log ratios of the sites"
            lines.append(
                ("Hodges-Lehmann", estimand, float(np.exp(r.estimate)), low, high, r.level, note)
            )
        g = self.gee
        note = g.failure or f"alpha = {g.dispersion:.3g}, correlation = {g.correlation:.3g}"
        lines.append(("GEE", "ratio of mean densities", g.ratio, g.lower, g.upper, g.level, note))
        columns = ["method", "estimand", "ratio", "lower", "upper", "level", "note"]
        table = pd.DataFrame(lines, columns=columns)
        table.insert(6, "sites", len(self.sites))
        return table


def _bounds(interval: Interval) -> tuple[float, float, float]:
    return interval.lower, interval.upper, interval.level


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
    than planned, the intervals are widened for ``look`` looks. ``seed`` rules the simulation of
    reading errors. Raises UsageError for a frame that is not as described, a study without
    comparison, or an unknown plot or count.
    """
    name = count or outline.count.name
    _check_names(checked(counts), outline, name)
    paired = pair_visits(counts, outline, name)
    sites = paired.sites
    planned = max(outline.planned_updates, look)
    logs = sites["log_ratio"].to_numpy(dtype=float)
    ratio = float(np.exp(logs.mean())) if len(logs) >= 2 else None
    plain = t_interval(logs, 0.95)
    widened = t_interval(logs, looks.look_level(planned))
    both_zero = int(((sites["value_treated"] == 0) & (sites["value_control"] == 0)).sum())
    effort = float(sites["effort_treated"].sum()), float(sites["effort_control"].sum())
    return Comparison(
        count=name,
        outline=outline,
        visits=paired.visits,
        sites=sites,
        left_out=paired.left_out,
        look=look,
        planned_looks=planned,
        constant=looks.constant(planned),
        ratio=ratio,
        pooled=pooled_ratio(sites),
        plain=plain,
        widened=widened,
        verdict=_verdict(widened, len(logs) - both_zero),
        effort_ratio=effort[0] / effort[1] if outline.effort and effort[1] else None,
        both_zero=both_zero,
        by_ranks=signed_rank(logs) if len(logs) >= 2 else None,
        gee=gee_view(paired.visits),
        misreading=misreading(
            paired.visits,
            outline.allowed_error,
            with_effort=outline.effort is not None,
            highest=outline.highest if name == outline.count.name else None,
            seed=seed,
        )
        if reading_errors and len(logs) >= 2
        else None,
    )


def pooled_ratio(sites: pd.DataFrame) -> float | None:
    """All treated animals per effort to all control animals per effort; None for no control."""
    sums = sites[["value_treated", "effort_treated", "value_control", "effort_control"]].sum()
    if not sums["value_control"]:
        return None
    treated = sums["value_treated"] / sums["effort_treated"]
    return float(treated / (sums["value_control"] / sums["effort_control"]))


def t_interval(logs: Sequence[float] | np.ndarray, level: float) -> Interval | None:
    """The t interval of the mean of log ratios, back-transformed; None under two values."""
    values = np.asarray(logs, dtype=float)
    if len(values) < 2:
        return None
    error = float(values.std(ddof=1)) / np.sqrt(len(values))
    reach = float(student.ppf(0.5 + level / 2, len(values) - 1)) * error
    middle = float(values.mean())
    return Interval(float(np.exp(middle - reach)), float(np.exp(middle + reach)), level)


def _verdict(widened: Interval | None, with_finds: int) -> Verdict:
    if widened is None or with_finds < LEAST_SITES:
        return "too few sites"
    if widened.upper < 1:
        return "fewer"
    return "more" if widened.lower > 1 else "open"


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
