"""The comparison as data frames, for statisticians who go on from it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from datetime import date

import pandas as pd

from sheet_reader.errors import UsageError
from sheet_reader.results.from_record import Facts
from sheet_reader.results.update import comparison, join
from sheet_reader.results.update.kept import Made
from sheet_reader.study.model import Study

_TEXTS = {"site": "string", "site_name": "string"}
_WHOLE = ("visits", "value_treated", "value_control")
_REAL = (
    "effort_treated",
    "effort_control",
    "density_treated",
    "density_control",
    "ratio",
    "effort_ratio",
)


@dataclass(frozen=True, slots=True, eq=False)
class CountComparison:
    """One count compared between two plots. Ratios are those of densities, treated to control;
    densities are counts per unit of effort (``effort_unit``), per visit where the study states no
    effort ("").

    ``summary`` has one line per method: ``method`` and ``estimand`` (``string``), ``ratio``,
    ``lower``, ``upper`` and ``level`` (``Float64``; ``level`` is that of this one interval, 0..1),
    ``sites`` (``Int64``) and ``note`` (``string``). "typical site, all looks" is the figure of the
    updates: its interval holds for all ``planned_looks`` updates together; "typical site, one
    look" only for a single one. Their ``sites`` are those with a find. "pooled" has no interval.
    What could not be worked out is missing, and ``note`` says why; it also says where the updates
    tell no figure. A bound is 0 or infinite where one plot has no find.

    ``sites`` has one line per site with both plots on one day at least: ``site`` and ``site_name``
    (``string``), ``visits``, ``value_treated`` and ``value_control`` (``Int64``: sums over those
    visits), ``effort_treated`` and ``effort_control`` (sums, in ``effort_unit``),
    ``density_treated`` and ``density_control``, their ``ratio`` (infinite where the control plot
    has no find, missing where neither has) and ``effort_ratio``, the one of the model (each visit
    by its animals; all ``Float64``).

    ``visits`` has the pairs that were summed, a line per site and day: ``site``, ``site_name``,
    ``visit_date`` (``datetime64[ns]``), and for both plots ``value_…`` (``Int64``), ``effort_…``
    (``Float64``) and ``status_…`` (``string``).

    ``left_out`` counts the values of the two plots that take no part, by reason: ``waiting`` for a
    person, ``unreadable``, ``not_recorded``, ``no_effort``, ``alone`` (the other plot has none
    that day). ``verdict`` is "fewer", "more", "open", "too few sites" (fewer than six with a find)
    or "too few animals" (simulated seasons like this one go wrong too often), by the interval of
    all looks. ``missed`` is 1 or -1 where values are missing more often with many or few animals:
    then no interval can be trusted.
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
    outline = join.outline_of(study, made, until)
    name = count or outline.count.name
    known = [spec.name for spec in join.candidates(study)]
    if name not in known:
        raise UsageError(
            f"there is no count named {name} to compare", remedy=f"name one of {', '.join(known)}"
        )
    if name != outline.count.name:
        spec = next(spec for spec in study.counts if spec.name == name)
        label = replace(outline.count, name=name, label=spec.label)
        outline = replace(outline, count=label, highest=spec.highest)
    counts = join.frame_of(study, facts, until or _last(facts, study))
    found = comparison.compare(
        counts[counts["count"] == name], outline, look=max(1, len(made)), reading_errors=False
    )
    return CountComparison(
        count=name,
        treated=outline.treated,
        control=outline.control,
        effort_unit=study.effort.unit if study.effort else "",
        planned_looks=found.planned_looks,
        verdict=found.statement.verdict,
        summary=_summary(found),
        sites=_typed(found.sites),
        visits=_typed(found.visits),
        left_out=asdict(found.left_out),
        missed=found.missed.way,
    )


def _last(facts: Facts, study: Study) -> date:
    days = [date.fromisoformat(v.visit_date) for v in facts.visits if v.visit_date]
    return max([study.season.last, *days])


def _summary(found: comparison.Comparison) -> pd.DataFrame:
    real = dict.fromkeys(("ratio", "lower", "upper", "level"), "Float64")
    texts = dict.fromkeys(("method", "estimand", "note"), "string")
    return found.frame().astype(real | texts | {"sites": "Int64"})


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    """The columns in the types of the door; a site or visit more is no float less."""
    types = dict(_TEXTS)
    types |= dict.fromkeys(_WHOLE, "Int64")
    types |= dict.fromkeys(_REAL, "Float64")
    types |= dict.fromkeys(("status_treated", "status_control"), "string")
    return frame.astype({name: kind for name, kind in types.items() if name in frame.columns})
