"""The comparison of two plots over all sites: one main figure, and what stands beside it.

Main figure: the ratio of densities, treated to control, at a typical site (see ``typical_site``).
The pooled ratio (all animals of one plot to all of the other) is another estimand, ruled by the
sites with many animals.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from sheet_reader.errors import UsageError
from sheet_reader.results.facts import Facts
from sheet_reader.results.update import pairs
from sheet_reader.results.update.frame import checked, frame_of
from sheet_reader.results.update.kept import Made
from sheet_reader.results.update.outline import Outline, candidates, outline_of
from sheet_reader.results.update.statement import Statement, state
from sheet_reader.study.study import Study

ESTIMAND = (
    "median over sites of the ratio of densities (treated / control): binomial model of the "
    "treated animals among all of a site, random site effect, effort as offset"
)


@dataclass(frozen=True, slots=True, eq=False)
class PlotComparison:
    """All about one count in two plots of the ``outline``. Ratios are treated to control.

    ``sites`` and ``visits`` are what everything was worked out from (see ``pairs``). ``statement``
    is what may be said. ``missed`` tells whether missing visits go with the counts.
    """

    outline: Outline
    visits: pd.DataFrame
    sites: pd.DataFrame
    left_out: pairs.LeftOut
    missed: pairs.Missed
    planned_looks: int
    statement: Statement
    misreading: pairs.Misreading | None

    @property
    def pooled(self) -> float | None:
        """All treated animals per effort to all control animals per effort, which is another
        estimand; None where the control plots have no find.
        """
        sums = self.sites.filter(regex="^(value|effort)_").sum()
        if not sums["value_control"]:
            return None
        treated, control = (sums[f"value_{arm}"] / sums[f"effort_{arm}"] for arm in pairs.ARMS)
        return float(treated / control)

    @property
    def effort_ratio(self) -> float | None:
        """The effort in the treated plots to that in the control plots, None without any."""
        treated, control = (float(self.sites[f"effort_{arm}"].sum()) for arm in pairs.ARMS)
        return treated / control if self.outline.effort and control else None

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
        kinds = dict.fromkeys(("method", "estimand"), "string")
        kinds |= dict.fromkeys(("ratio", "lower", "upper", "level"), "Float64")
        kinds |= {"sites": "Int64", "note": "string"}
        return pd.DataFrame([*lines, ("pooled", *pooled)], columns=list(kinds)).astype(kinds)


def compare(
    counts: pd.DataFrame, outline: Outline, count: str = "", *, look: int = 1,
    reading_errors: bool = True,
) -> PlotComparison:  # fmt: skip
    """Compare the outline's two plots in ``count`` (the outline's own if left out).

    ``look`` is how often the comparison has been looked at, this time included; if that is more
    than planned, the range is widened for ``look`` looks. Raises UsageError for a frame
    that is not as described, a study without comparison, or an unknown plot or count.
    """
    name = count or outline.count.name
    _check_names(checked(counts), outline, name)
    paired = pairs.pair_visits(counts, outline, name)
    planned = max(outline.planned_updates, look)
    said = state(pairs.counts_of(paired.visits), planned)
    misread = None
    if reading_errors and said.says:
        misread = pairs.misreading(
            paired.visits,
            outline.allowed_error,
            with_effort=outline.effort is not None,
            highest=outline.highest if name == outline.count.name else None,
        )
    return PlotComparison(
        outline=outline, visits=paired.visits, sites=paired.sites, left_out=paired.left_out,
        missed=paired.missed, planned_looks=planned, statement=said, misreading=misread,
    )  # fmt: skip


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


@dataclass(frozen=True, slots=True, eq=False)
class CountComparison:
    """One count compared between two plots. Ratios are those of densities, treated to control;
    densities are counts per unit of effort (``effort_unit``), per visit where the study states no
    effort ("").

    ``summary`` has one line per method: ``method`` and ``estimand`` (``string``), ``ratio``,
    ``lower``, ``upper`` and ``level`` (``Float64``; ``level`` is that of this one interval, 0..1),
    ``sites`` (``Int64``) and ``note`` (``string``): what could not be worked out is missing, and
    ``note`` says why, or where the updates tell no figure. "typical site, all looks" is the figure
    of the updates: its interval holds for all ``planned_looks`` updates together; "typical site,
    one look" only for a single one. Their ``sites`` are those with a find; a bound is 0 or infinite
    where one plot has none. "pooled" has no interval.

    ``sites`` has one line per site with both plots on one day at least: ``site`` and ``site_name``
    (``string``), ``visits``, ``value_treated`` and ``value_control`` (``Int64``: sums over those
    visits), and as ``Float64`` ``effort_…`` (sums, in ``effort_unit``), ``density_…``, their
    ``ratio`` (infinite where the control plot has no find, missing where neither has) and
    ``effort_ratio``, the one of the model (each visit by its animals).

    ``visits`` has the pairs that were summed, a line per site and day: ``site``, ``site_name``,
    ``visit_date`` (``datetime64[ns]``), and for both plots ``value_…`` (``Int64``), ``effort_…``
    (``Float64``) and ``status_…`` (``string``).

    ``left_out`` counts by reason the values of the two plots that take no part (see
    :class:`~.pairs.LeftOut`). ``verdict`` is "fewer", "more", "open", "too few sites" (fewer than
    six with a find) or "too few animals" (simulated seasons like this one go wrong too often), by
    the interval of all looks. ``missed`` is 1 or -1 where values are missing more often with many
    or few animals: then no interval can be trusted.
    """

    count: str
    treated: str
    control: str
    effort_unit: str
    planned_looks: int
    verdict: str
    summary: pd.DataFrame
    sites: pd.DataFrame
    visits: pd.DataFrame
    left_out: dict[str, int]
    missed: int


def compare_facts(
    study: Study, facts: Facts, made: list[Made], count: str = "", until: date | None = None
) -> CountComparison:
    """The comparison of ``count`` (that of ``[update]`` if left out) in all visits up to ``until``
    (all there are if left out). Raises UsageError for an unknown count, the effort itself, and a
    study that names no two plots to compare.
    """
    outline = outline_of(study, made, until)
    known = {spec.name: spec for spec in candidates(study)}
    name = count or outline.count.name
    if name not in known:
        raise UsageError(
            f"there is no count named {name} to compare", remedy=f"name one of {', '.join(known)}"
        )
    if name != outline.count.name:
        shown = replace(outline.count, name=name, label=known[name].label)
        outline = replace(outline, count=shown, highest=known[name].highest)
    days = [date.fromisoformat(v.visit_date) for v in facts.visits if v.visit_date]
    counts = frame_of(study, facts, until or max([study.season.last, *days]))
    found = compare(
        counts[counts["count"] == name], outline, look=max(1, len(made)), reading_errors=False
    )
    return CountComparison(
        count=name, treated=outline.treated, control=outline.control,
        effort_unit=study.effort.unit if study.effort else "", planned_looks=found.planned_looks,
        verdict=found.statement.verdict, summary=found.frame(), sites=_typed(found.sites),
        visits=_typed(found.visits), left_out=asdict(found.left_out), missed=found.missed.way,
    )  # fmt: skip


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    """The columns in types that don't depend on which sites and visits there are."""
    whole = ("visits", *(f"value_{arm}" for arm in pairs.ARMS))
    texts = ("site", "site_name", *(f"status_{arm}" for arm in pairs.ARMS))
    kinds = dict.fromkeys(whole, "Int64") | dict.fromkeys(texts, "string")
    return frame.astype(
        {n: kinds.get(n, "Float64") for n in map(str, frame.columns) if n != "visit_date"}
    )
